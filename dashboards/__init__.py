"""Pages for people: frames in, static HTML out; nothing is decided or estimated here."""
