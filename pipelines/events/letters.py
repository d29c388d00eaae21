"""The register of letters as events hold it: entries appended, states changed, mails handed over.

Belongs here: the form of these events, and folding them into the register. Does not belong here:
which letters are due (`pipelines.letters.register`), or sending.

A letter that a refresh or an action makes is an event of kind `letter` of its own, with its frozen
text; so is each change of state. What was told before the register began has no text: those entries
come many in one event. The last event of a refresh names the publication that the register has
seen (`publication`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import polars as pl
import sqlalchemy as sa

from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.letters.matters import SCHEMA

LETTER: Final = "letter"
SENDING: Final = "sending"
TEXTS = ("subject", "text", "html")
Row = dict[str, Any]


@dataclass
class Register:
    """All entries in their order, the texts of those that have one, and what was seen last.

    publication: which publication the register was last brought up to; None: none.
    moved: by entry, the number of the event by which a person last changed it.
    """

    rows: dict[int, Row] = field(default_factory=dict)
    texts: dict[int, dict[str, str]] = field(default_factory=dict)
    publication: str | None = None
    moved: dict[int, int] = field(default_factory=dict)

    @property
    def frame(self) -> pl.DataFrame:
        """The entries in the shape of `schemas.register.Letters`."""
        rows = [{name: row.get(name) for name in SCHEMA} for row in self.rows.values()]
        return pl.DataFrame(rows, schema=SCHEMA)

    def claims_moved_after(self, event: int) -> set[str]:
        """The claims of entries that an event after this one has made or changed."""
        return {
            str(self.rows[entry]["claim"])
            for entry, number in self.moved.items()
            if number > event and "claim" in self.rows[entry]
        }


def read_register(desk: Desk, connection: sa.Connection) -> Register:
    """The register as it is now."""
    return folded(desk.events(connection, kinds=[LETTER, SENDING]))


def folded(events: Iterable[Recorded]) -> Register:
    """What events of both kinds, in their order, add up to."""
    register = Register()
    for event in events:
        if event.kind == SENDING:
            _sending(register, event)
        elif event.kind == LETTER:
            _letter(register, event)
    return register


def _letter(register: Register, event: Recorded) -> None:
    told = event.payload
    for entry in told.get("entries", ()):
        row = read_entry(entry)
        register.rows[row["entry"]] = row
        _moved(register, row["entry"], event)
        if entry.get("text") is not None:
            register.texts[row["entry"]] = {name: entry[name] for name in TEXTS}
    for change in told.get("states", ()):
        row = register.rows[change["entry"]]
        row.update(read_entry({name: value for name, value in change.items() if name != "entry"}))
        _moved(register, change["entry"], event)
    register.publication = told.get("publication") or register.publication


def _moved(register: Register, entry: int, event: Recorded) -> None:
    if event.via != "refresh":
        register.moved[entry] = event.event


def _sending(register: Register, event: Recorded) -> None:
    """What was handed over may have gone out until the server says that it took or refused it."""
    told = event.payload
    for entry in told["letters"]:
        row = register.rows[entry]
        register.moved[entry] = event.event
        if told["stage"] == "sending":
            row |= {"sending_at": event.moment.replace(tzinfo=None)}
            row |= {"message_id": told["message_id"]}
        elif told["stage"] == "sent":
            row |= {"state": "sent", "sent_on": event.as_of, "sent_by": event.actor}
            row |= {"sent_how": "mail", "sending_at": None}
        else:
            row |= {"sending_at": None, "message_id": None, "note": told["answer"]}


def written_entry(row: Mapping[str, Any]) -> Row:
    """A row of the register as JSON holds it, without its empty columns."""
    return {
        name: value.isoformat() if isinstance(value, dt.date | dt.datetime) else value
        for name, value in row.items()
        if value is not None
    }


def read_entry(told: Mapping[str, Any]) -> Row:
    """The columns of a row as they were before `written_entry`."""
    return {
        name: _read(SCHEMA[name], value) for name, value in told.items() if name in SCHEMA.names()
    }


def _read(kind: pl.DataType, value: Any) -> Any:
    if isinstance(value, str) and kind == pl.Date:
        return dt.date.fromisoformat(value)
    if isinstance(value, str) and isinstance(kind, pl.Datetime):
        return dt.datetime.fromisoformat(value)
    return value
