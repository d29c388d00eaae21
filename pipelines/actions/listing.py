"""Lists of what people did.

Belongs here: the events, filtered; corrections with their states. Does not belong here: desk state
(`pipelines.events.states`).
"""

from __future__ import annotations

from typing import Any

from pipelines.actions.acting import Answer
from pipelines.events.database import Desk
from pipelines.events.recorded import recorded_of
from pipelines.store.correction_states import CorrectionState, correction_states
from pipelines.store.reading import open_store


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
    return {"events": [event.to_dict() for event in events]}


def corrections(desk: Desk, *, state: str | None = None) -> Answer:
    """The corrections that were made, the stale ones first, each with both rows."""
    recorded = recorded_of(desk)
    if not recorded.made:
        return {"corrections": []}
    with open_store(desk.workspace) as con:
        states = correction_states(con, recorded, desk.settings.timezone)
    return {"corrections": [_as_json(one) for one in states if state in (None, one.state)]}


def _as_json(one: CorrectionState) -> dict[str, Any]:
    made, instead = one.made, one.instead
    return {
        "event": made.event,
        "feed": made.correction.feed,
        "file": made.file,
        "line": made.line,
        "claim": made.claim,
        "was": dict(made.old),
        "values": dict(made.correction.values),
        "reason": made.reason,
        "actor": made.actor,
        "at": made.at,
        "state": one.state,
        "row": made.correction.corrected(),
        "instead": None
        if instead is None
        else {"file": instead.file, "line": instead.line, "values": instead.values},
    }
