"""What is done with one claim beside rulings: notes, assignment, holds, appeals.

Belongs here: these four actions. Does not belong here: rulings, records, letters.
"""

from __future__ import annotations

from collections.abc import Mapping

import sqlalchemy as sa

from pipelines.actions.acting import Answer, Version, act, check_version
from pipelines.actions.caller import Action, Caller
from pipelines.actions.on_file import decision_on_file
from pipelines.actions.values import day, refuse
from pipelines.actions.values import text as _read
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Kind, Recorded
from pipelines.events.tables import USERS
from pipelines.workspace.layout import Workspace


def note(desk: Desk, workspace: Workspace, caller: Caller, *, claim: str, text: str) -> Answer:
    """Writes a note of 1 to 10,000 characters; needs no version."""
    payload = {"text": _read("text", text)}
    return _on_claim(desk, caller, "note", "note", claim, payload, "present")


def assign(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    claim: str,
    to: str | None,
    expected_version: Version = None,
) -> Answer:
    """Gives a claim to a user, or to nobody."""
    given = None if to is None else _read("to", to, most=64)
    return _on_claim(desk, caller, "assign", "assignment", claim, {"to": given}, expected_version)


def hold(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    claim: str,
    until: object,
    reason: str | None = None,
    expected_version: Version = None,
) -> Answer:
    """Takes a claim off the worklist until a day after the desk's day; None ends a hold."""
    if until is None:
        payload = {"until": None, "reason": _read("reason", reason) if reason else None}
    else:
        last = day("until", until)
        if last <= caller.as_of:
            raise refuse("until", f"is not after the desk's day, {caller.as_of}; name a later day.")
        payload = {"until": last.isoformat(), "reason": _read("reason", reason)}
    return _on_claim(desk, caller, "hold", "hold", claim, payload, expected_version)


def appeal(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    claim: str,
    received_on: object,
    reason: str,
    expected_version: Version = None,
) -> Answer:
    """Records an appeal: the claim is open again until the next ruling."""
    received = day("received_on", received_on)
    if received > caller.as_of:
        raise refuse("received_on", f"is after the desk's day, {caller.as_of}; correct it.")
    payload = {"received_on": received.isoformat(), "reason": _read("reason", reason)}
    return _on_claim(desk, caller, "appeal", "appeal", claim, payload, expected_version)


def _on_claim(
    desk: Desk,
    caller: Caller,
    action: Action,
    kind: Kind,
    claim: str,
    payload: Mapping[str, str | None],
    expected: Version,
) -> Answer:
    caller.require(action)
    decision_on_file(desk, claim, caller.as_of)

    def do(connection: sa.Connection) -> int:
        check_version(desk, connection, claim, expected)
        if payload.get("to") is not None:
            _need_assignee(connection, str(payload["to"]))
        return desk.append(connection, caller.event(kind, claim=claim, payload=dict(payload)))

    return act(desk, caller, do, claim_answer)


def _need_assignee(connection: sa.Connection, to: str) -> None:
    """Whoever gets a claim is a user who is not disabled, once there are users."""
    users = connection.execute(sa.select(USERS.c.user, USERS.c.disabled)).all()
    if users and not any(row.user == to and not row.disabled for row in users):
        raise Refused(
            422,
            f'"{to}" is no user; `limeledger user list` names them. Nothing was recorded.',
            [("to", "is no user")],
        )


def claim_answer(event: Recorded) -> Answer:
    """What every action on a claim answers."""
    return {"event": event.event, "claim": event.claim, "version": event.event, **event.payload}
