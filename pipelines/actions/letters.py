"""Letters of the register: looking at them, and marking how far they have come.

Belongs here: what may follow what. Does not belong here: sending (`sending`), which letters are due
(`pipelines.letters.register`), or their text, which was frozen when they were made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import Caller
from pipelines.actions.values import day, refuse, text, word
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.letters import LETTER, Register, read_register, read_texts, written_entry
from pipelines.workspace.layout import Workspace
from schemas.register import MAY_FOLLOW

SETTABLE = ("sent", "answered", "closed", "to_send")


def letters(
    desk: Desk,
    workspace: Workspace,
    *,
    state: str | None = None,
    agency: str | None = None,
    claim: str | None = None,
) -> list[Answer]:
    """The entries of the register, in their order, as they are now."""
    with desk.reading() as connection:
        register = read_register(
            desk,
            connection,
            claims=None if claim is None else [claim],
            state=None if state == "all" else state,
            agency=agency,
        )
    return [entry_answer(row) for row in register.rows.values()]


def letter(desk: Desk, workspace: Workspace, *, entry: int) -> Answer:
    """One entry with its frozen subject, text and HTML (null where it was told before)."""
    with desk.reading() as connection:
        register = read_register(desk, connection, entries=[entry])
        row = row_of(register, entry)
        frozen = read_texts(connection, register, [entry]).get(entry) or {}
    return {**entry_answer(row), "text": frozen.get("text"), "html": frozen.get("html")}


def entry_answer(row: Mapping[str, Any]) -> Answer:
    """A row of the register as JSON: every column, and whether its mail may have gone out."""
    from pipelines.letters.matters import SCHEMA

    entry = written_entry(row)
    return {
        **{name: entry.get(name) for name in SCHEMA},
        "may_have_gone_out": row.get("sending_at") is not None
        and row["state"] in ("to_send", "overtaken"),
    }


def mark(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    entry: int,
    state: str,
    on: object = None,
    note: str | None = None,
) -> Answer:
    """Says how far a letter has come: to_send → sent → answered → closed.

    A sent one can go back to `to_send` with a note, and so can one whose mail may have gone out.
    A reminder that is still to be sent of a request that no longer waits is overtaken with it.
    """
    caller.require("letters")
    wanted = word("state", state, SETTABLE)
    when = caller.as_of if on in (None, "") else day("on", on)
    if when > caller.as_of:
        raise refuse("on", f"is after the desk's day, {caller.as_of}; correct it.")
    said = text("note", note) if note else None

    def do(connection: sa.Connection) -> int:
        row = row_of(read_register(desk, connection, entries=[entry]), entry)
        _may_follow(row, wanted, said)
        change: dict[str, Any] = {"entry": entry, "state": wanted, "note": said}
        if wanted == "sent":
            change |= {"sent_on": when.isoformat(), "sent_by": caller.actor, "sent_how": "by_hand"}
            change |= {"sending_at": None}
        elif wanted == "answered":
            change |= {"answered_on": when.isoformat()}
        elif wanted == "to_send":
            change |= dict.fromkeys(("sent_on", "sent_by", "sent_how", "sending_at", "message_id"))
        dropped = _reminders_to_send(desk, connection, row) if wanted != "sent" else []
        return desk.append(
            connection,
            caller.event(
                LETTER,
                claim=row.get("claim"),
                subject=f"letter {entry}",
                payload={"states": [change, *dropped]},
            ),
        )

    return act(
        desk, caller, do, lambda event: letters_answer(desk, event, [entry]) | {"entry": entry}
    )


def _reminders_to_send(
    desk: Desk, connection: sa.Connection, row: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """The reminders of a request that nobody has begun to send, as overtaken."""
    if row["kind"] != "documents" or row["claim"] is None:
        return []
    of_claim = read_register(desk, connection, claims=[row["claim"]]).rows.values()
    return [
        {"entry": one["entry"], "state": "overtaken"}
        for one in of_claim
        if one["reminds"] == row["entry"] and one["state"] == "to_send" and not one["sending_at"]
    ]


def _may_follow(row: Mapping[str, Any], wanted: str, note: str | None) -> None:
    state, entry = row["state"], row["entry"]
    unclear = state == "to_send" and row.get("sending_at") is not None
    if wanted not in MAY_FOLLOW.get(state, ()) and not (unclear and wanted == "to_send"):
        may = " or ".join(MAY_FOLLOW.get(state, ())) or "nothing else"
        raise Refused(
            409,
            f"Letter {entry} is {state.replace('_', ' ')}; it can become {may}, and not {wanted}. "
            "Nothing was recorded.",
        )
    if wanted == "to_send" and note is None:
        reason = "is empty; say why the letter is to be sent again."
        raise Refused(422, f"note {reason} Nothing was recorded.", [("note", reason)])


def row_of(register: Register, entry: int) -> dict[str, Any]:
    """An entry's row.

    Raises:
        Refused: 404, there is none of this number.
    """
    row = register.rows.get(entry)
    if row is None:
        raise Refused(404, f"There is no letter {entry} in the register; check the number.")
    return row


def letters_answer(desk: Desk, event: Recorded, entries: Sequence[int]) -> Answer:
    """The event's number, and the letters as they are now."""
    with desk.reading() as connection:
        rows = read_register(desk, connection, entries=entries).rows
    letters_now = [entry_answer(rows[entry]) for entry in entries]
    return {"event": event.event, "letters": letters_now}
