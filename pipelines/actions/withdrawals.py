"""Taking back what was recorded: a ruling, a record or a correction.

Belongs here: which of them an event is, and taking back records and corrections. Does not belong
here: rulings (`pipelines.actions.rulings`).
"""

from __future__ import annotations

from pipelines.actions.acting import Answer, Version
from pipelines.actions.caller import Caller
from pipelines.actions.rulings import withdraw_ruling
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.workspace.layout import Workspace


def withdraw(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    event: int,
    reason: str,
    expected_version: Version = None,
) -> Answer:
    """Takes back whatever the event recorded."""
    with desk.reading() as connection:
        found = desk.event(connection, event)
    if found is not None and found.kind == "ruling":
        return withdraw_ruling(
            desk,
            workspace,
            caller,
            event=event,
            reason=reason,
            expected_version=expected_version,
        )
    raise Refused(404, f"There is nothing to withdraw in event {event}.")
