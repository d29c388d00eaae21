"""The desk's append-only events: database, migrations, chain, documents, and desk state.

What people do is appended and never changed; all else that the desk shows is folded from it.
"""

from pipelines.events.database import Desk
from pipelines.events.event import Event, Recorded
from pipelines.events.opening import is_there, open_desk

__all__ = ["Desk", "Event", "Recorded", "is_there", "open_desk"]
