"""Taking back what was recorded: a ruling, a record or a correction.

Belongs here: which of them an event is, and taking back records and corrections. Does not belong
here: rulings (`pipelines.actions.rulings`).
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from pipelines.actions.acting import Answer, Version, act
from pipelines.actions.caller import Caller
from pipelines.actions.corrections import checked_values, keys_of_correction
from pipelines.actions.letters_after import letters_after
from pipelines.actions.records import checked_feed, keys_of_record
from pipelines.actions.rulings import withdraw_ruling
from pipelines.actions.values import text
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.recorded import DeskRecord, recorded_in, recorded_of
from pipelines.queries.judging_now import moved_by_rows
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace

ENTRIES = ("record", "correction")


def withdraw(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    event: int,
    reason: str,
    expected_version: Version = None,
) -> Answer:
    """Takes back whatever the event recorded; `expected_version` is asked of rulings alone."""
    with desk.reading() as connection:
        recorded = desk.event(connection, event)
    if recorded is not None and recorded.kind == "ruling":
        return withdraw_ruling(
            desk,
            workspace,
            caller,
            event=event,
            reason=reason,
            expected_version=expected_version,
        )
    if recorded is None or recorded.kind not in ENTRIES:
        raise Refused(
            404,
            f"Event {event} is no ruling, record or correction; `limeledger audit` lists the "
            "events.",
        )
    return withdraw_entry(desk, workspace, caller, event=event, reason=reason)


def withdraw_record(
    desk: Desk, workspace: Workspace, caller: Caller, *, event: int, reason: str
) -> Answer:
    """Takes back a record, and no correction; see `withdraw_entry`."""
    return withdraw_entry(desk, workspace, caller, event=event, reason=reason, kinds=("record",))


def withdraw_correction(
    desk: Desk, workspace: Workspace, caller: Caller, *, event: int, reason: str
) -> Answer:
    """Takes back a correction, and no record; see `withdraw_entry`."""
    kinds = ("correction",)
    return withdraw_entry(desk, workspace, caller, event=event, reason=reason, kinds=kinds)


def withdraw_entry(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    event: int,
    reason: str,
    kinds: Sequence[str] = ENTRIES,
) -> Answer:
    """Takes back a record or a correction: as never made.

    Args:
        kinds: what it may be.

    Returns:
        event, withdraws, reason, and `claims`: each claim that it bears on, before and after.
    """
    caller.require("withdraw")
    payload = {"withdraws": event, "reason": text("reason", reason)}
    inputs = load_inputs(workspace.root, caller.as_of, DeskRecord())

    def do(connection: sa.Connection) -> int:
        entry = _entry(desk, connection, event, kinds)
        known = recorded_in(desk, connection)
        gone = {one.event for one in known.records if one.withdrawn is not None}
        if event in gone | {one.event for one in known.made if one.withdrawn is not None}:
            raise Refused(409, f"Event {event} was withdrawn already. Nothing was recorded.")
        _refuse_others_rows(caller, entry)
        subject = f"{entry.kind} {event}"
        return desk.append(
            connection,
            caller.event("withdrawal", claim=entry.claim, subject=subject, payload=payload),
        )

    def tell(made: Recorded) -> Answer:
        with desk.reading() as connection:
            entry = _entry(desk, connection, event, kinds)
        after, before = recorded_of(desk, made.event), recorded_of(desk, made.event - 1)
        zone = inputs.settings.timezone
        keys = (
            keys_of_record(entry.payload["feed"], entry.payload["values"], zone)
            if entry.kind == "record"
            else keys_of_correction(entry.payload, zone, before)
        )
        moved, decided = moved_by_rows(inputs, before, after, entry.payload["feed"], keys)
        letters_after(desk, caller, [one.claim for one in moved], decided)
        return {"event": made.event, **payload, "claims": [one.to_dict() for one in moved]}

    return act(desk, caller, do, tell)


def _refuse_others_rows(caller: Caller, entry: Recorded) -> None:
    """Whoever may enter or correct a row may take that back, whoever did it: it may be stale long
    after its maker left."""
    if entry.kind == "record":
        checked_feed(caller, entry.payload["feed"])
    else:
        checked_values(caller, entry.payload["feed"], entry.payload["values"])


def _entry(desk: Desk, connection: sa.Connection, event: int, kinds: Sequence[str]) -> Recorded:
    recorded = desk.event(connection, event)
    if recorded is None or recorded.kind not in kinds:
        raise Refused(
            404,
            f"There is no {' or '.join(kinds)} {event}; `limeledger audit` lists the events.",
        )
    return recorded
