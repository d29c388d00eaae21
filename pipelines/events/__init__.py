"""The desk's append-only events: database, migrations, chain, and desk state."""
