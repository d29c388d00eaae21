"""The table `letters`: the register as its events add up, so that nobody folds them all to look.

Belongs here: what one event changes in it, and making it anew. Does not belong here: reading it
(`pipelines.events.letters`), or the form of the events (there too).

Each event of LETTER and SENDING is put into the table within the transaction that appends it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import polars as pl
import sqlalchemy as sa

from pipelines.events.event import Recorded
from pipelines.events.tables import EVENTS, LETTERS
from pipelines.letters.matters import SCHEMA

LETTER: Final = "letter"
SENDING: Final = "sending"
FOLLOWED = (LETTER, SENDING)
Row = dict[str, Any]


def follow(connection: sa.Connection, event: Recorded) -> None:
    """Puts what an event of FOLLOWED says into the table."""
    rows = new_rows(event)
    if rows:
        connection.execute(sa.insert(LETTERS), rows)
    for entry, change in changed_rows(event):
        connection.execute(sa.update(LETTERS).where(LETTERS.c.entry == entry).values(**change))


def refold(connection: sa.Connection) -> None:
    """Makes the table anew from all events."""
    connection.execute(sa.delete(LETTERS))
    chosen = sa.select(EVENTS).where(EVENTS.c.kind.in_(FOLLOWED)).order_by(EVENTS.c.event)
    for row in connection.execute(chosen).mappings():
        follow(connection, Recorded(**row))


def fold(events: Iterable[Recorded]) -> dict[int, Row]:
    """The rows that the table must have, by entry."""
    rows: dict[int, Row] = {}
    for event in events:
        rows |= {row["entry"]: row for row in new_rows(event)}
        for entry, change in changed_rows(event):
            rows[entry] |= change
    return rows


def differing_letters(connection: sa.Connection, events: Iterable[Recorded]) -> list[int]:
    """The entries whose row is not what all events say; none in a database without the table."""
    if not sa.inspect(connection).has_table(LETTERS.name):
        return []
    wanted = fold(event for event in events if event.kind in FOLLOWED)
    table = connection.execute(sa.select(LETTERS)).mappings()
    stored = {row["entry"]: dict(row) for row in table}
    return sorted(one for one in {*wanted, *stored} if wanted.get(one) != stored.get(one))


def new_rows(event: Recorded) -> list[Row]:
    """The entries that an event makes, with every column of the table."""
    if event.kind != LETTER:
        return []
    return [
        {
            **dict.fromkeys(SCHEMA),
            **read_entry(entry),
            "text_event": event.event if entry.get("text") is not None else None,
            "moved": None if event.via == "refresh" else event.event,
        }
        for entry in event.payload.get("entries", ())
    ]


def changed_rows(event: Recorded) -> Iterator[tuple[int, Row]]:
    """The entries that an event changes, each with the columns that it changes."""
    if event.kind == SENDING:
        change = _of_sending(event) | {"moved": event.event}
        for entry in event.payload["letters"]:
            yield entry, change
        return
    moved = {} if event.via == "refresh" else {"moved": event.event}
    for state_change in event.payload.get("states", ()):
        change = {name: value for name, value in state_change.items() if name != "entry"}
        yield state_change["entry"], read_entry(change) | moved


def _of_sending(event: Recorded) -> Row:
    """What was handed over may have gone out until the server says that it took or refused it."""
    payload = event.payload
    if payload["stage"] == "sending":
        at = event.moment.replace(tzinfo=None)
        return {"sending_at": at, "message_id": payload["message_id"]}
    if payload["stage"] == "sent":
        sent = {"state": "sent", "sent_on": event.as_of, "sent_by": event.actor}
        return {**sent, "sent_how": "mail", "sending_at": None}
    return {"sending_at": None, "message_id": None, "note": payload["answer"]}


def written_entry(row: Mapping[str, Any]) -> Row:
    """A row of the register as JSON holds it, without its empty columns."""
    return {
        name: value.isoformat() if isinstance(value, dt.date | dt.datetime) else value
        for name, value in row.items()
        if value is not None
    }


_DAYS = {name for name, kind in SCHEMA.items() if kind == pl.Date}
_MOMENTS = {name for name, kind in SCHEMA.items() if isinstance(kind, pl.Datetime)}
_NAMES = set(SCHEMA)


def read_entry(written: Mapping[str, Any]) -> Row:
    """The columns of a row as they were before `written_entry`."""
    return {name: _read(name, value) for name, value in written.items() if name in _NAMES}


def _read(name: str, value: Any) -> Any:
    if isinstance(value, str):
        if name in _DAYS:
            return dt.date.fromisoformat(value)
        if name in _MOMENTS:
            return dt.datetime.fromisoformat(value)
    return value
