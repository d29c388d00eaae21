"""The desk's append-only events: database, migrations, chain, documents, and desk state.

What people do is appended and never changed; all else that the desk shows is folded from it.
"""

from pipelines.events.database import Desk, open_desk
from pipelines.events.event import Event, Recorded

__all__ = ["Desk", "Event", "Recorded", "open_desk"]
