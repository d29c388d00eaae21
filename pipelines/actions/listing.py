"""Lists of what people did.

Belongs here: the events, filtered. Does not belong here: desk state (`pipelines.events.states`).
"""

from __future__ import annotations

from pipelines.actions.acting import Answer
from pipelines.events.database import Desk


def audit(
    desk: Desk,
    *,
    claim: str | None = None,
    actor: str | None = None,
    kind: str | None = None,
    after: int = 0,
    limit: int | None = None,
    newest_first: bool = False,
) -> Answer:
    """The events, each with all its columns."""
    with desk.reading() as connection:
        events = desk.events(
            connection,
            claim=claim,
            actor=actor,
            kinds=None if kind is None else [kind],
            after=after,
            limit=limit,
            newest_first=newest_first,
        )
    return {"events": [event.told() for event in events]}
