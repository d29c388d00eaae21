"""The register of letters: entries appended, states changed, mails handed over, as events hold it.

Belongs here: the form of these events, and looking the register up. Does not belong here: which
letters are due (`pipelines.letters.register`), what an event changes (`letter_table`), or sending.

A letter that a refresh or an action makes is an event of kind `letter` of its own, with its frozen
text; so is each change of state. What was told before the register began has no text: those entries
come many in one event. The last event of a refresh names the publication that the register has
seen (`publication`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import Any

import polars as pl
import sqlalchemy as sa

from pipelines.events.database import Desk
from pipelines.events.event import Event
from pipelines.events.letter_table import LETTER, SENDING, Row, written_entry
from pipelines.events.tables import EVENTS, LETTERS
from pipelines.letters.matters import SCHEMA
from pipelines.letters.register import Due, Ends

__all__ = [
    "LETTER",
    "SENDING",
    "TEXTS",
    "Register",
    "Row",
    "append_due",
    "publication_seen",
    "read_register",
    "read_texts",
    "written_entry",
]

TEXTS = ("subject", "text", "html")
_BY = "refresh"  # who made what no person did
_MANY = 100  # entries of what was told before that go into one event
_AT_ONCE = 1_000  # values in one question; a database takes so many and not any number


@dataclass(frozen=True)
class Register:
    """Entries in their order: all, or those that were asked for.

    rows: every column of the table `letters`, by entry.
    ends: how far the whole register goes.
    """

    rows: Mapping[int, Row]
    ends: Ends

    @cached_property
    def frame(self) -> pl.DataFrame:
        """The entries in the shape of `schemas.register.Letters`."""
        rows = [*map(itemgetter(*SCHEMA), self.rows.values())]
        return pl.DataFrame(rows, schema=SCHEMA, orient="row")

    def claims_moved_after(self, event: int) -> set[str]:
        """The claims of entries that a person's event after this one has made or changed."""
        return {
            str(row["claim"])
            for row in self.rows.values()
            if row["claim"] is not None and (row["moved"] or 0) > event
        }


def read_register(
    desk: Desk,
    connection: sa.Connection,
    *,
    claims: Iterable[str] | None = None,
    entries: Iterable[int] | None = None,
    state: str | None = None,
    agency: str | None = None,
) -> Register:
    """The register as it is now, or the part of it that is asked for; `ends` are of the whole."""
    columns = LETTERS.c
    chosen = sa.select(LETTERS).order_by(columns.entry)
    if state is not None:
        chosen = chosen.where(columns.state == state)
    if agency is not None:
        chosen = chosen.where(columns.agency == agency)
    rows: dict[int, Row] = {}
    for part in _parts(chosen, columns.claim, claims, columns.entry, entries):
        result = connection.execute(part)
        names = [*result.keys()]
        rows |= {row.entry: dict(zip(names, row, strict=True)) for row in result}
    # Two questions in one: SQLite goes to the end of an index for one maximum, but not for two.
    greatest = (sa.select(sa.func.max(one)) for one in (columns.entry, columns.as_of))
    last, day = connection.execute(sa.select(*(one.scalar_subquery() for one in greatest))).one()
    in_order = dict(sorted(rows.items()))
    return Register(in_order, Ends(int(last or 0), day))


def _parts(
    chosen: sa.Select[Any],
    claim: sa.ColumnElement[Any],
    claims: Iterable[str] | None,
    entry: sa.ColumnElement[Any],
    entries: Iterable[int] | None,
) -> Iterator[sa.Select[Any]]:
    """The question, asked for so many claims or entries at a time."""
    conditions: tuple[tuple[sa.ColumnElement[Any], Iterable[Any] | None], ...]
    conditions = (claim, claims), (entry, entries)
    for column, given in conditions:
        if given is not None:
            values = list(given)
            for start in range(0, len(values), _AT_ONCE):
                yield chosen.where(column.in_(values[start : start + _AT_ONCE]))
            return
    yield chosen


def read_texts(
    connection: sa.Connection, register: Register, entries: Sequence[int]
) -> dict[int, dict[str, str]]:
    """Subject, text and HTML of those of the entries that have a text, as they were frozen."""
    wanted = {entry: register.rows[entry]["text_event"] for entry in entries}
    events = sorted({event for event in wanted.values() if event is not None})
    texts: dict[int, dict[str, str]] = {}
    for start in range(0, len(events), _AT_ONCE):
        part = EVENTS.c.event.in_(events[start : start + _AT_ONCE])
        for payload in connection.execute(sa.select(EVENTS.c.payload).where(part)).scalars():
            for written in payload["entries"]:
                if written["entry"] in wanted and written.get("text") is not None:
                    texts[written["entry"]] = {name: written[name] for name in TEXTS}
    return texts


def publication_seen(connection: sa.Connection) -> str | None:
    """Which publication the register was last brought up to; None: none."""
    columns = EVENTS.c
    last = (
        sa.select(columns.payload)
        .where(columns.kind == LETTER, columns.via == "refresh")
        .order_by(columns.event.desc())
        .limit(1)
    )
    payload = connection.execute(last).scalar()
    return None if payload is None else payload.get("publication")


def append_due(
    desk: Desk,
    connection: sa.Connection,
    due_letters: Due,
    texts: pl.DataFrame,
    as_of: dt.date,
    *,
    publication: str | None = None,
    actor: str = _BY,
    via: Any = "refresh",
    os_user: str | None = None,
) -> None:
    """Appends events of what is due: one a letter or change, one for many that were told before.

    `publication` is put down last, as the one that the register has then seen.
    """

    def event(payload: Mapping[str, Any], row: Mapping[str, Any] | None = None) -> None:
        claim = row["claim"] if row else None
        subject = f"letter {row['entry']}" if row else None
        made = Event(LETTER, as_of, actor, via, claim, subject, payload, os_user)
        desk.append(connection, made)

    before = read_register(desk, connection, entries=due_letters.states["entry"]).rows
    for change in due_letters.states.to_dicts():
        entry = written_entry(change)
        event({"states": [entry]}, {**change, "claim": before[change["entry"]]["claim"]})
    frozen = {row["entry"]: row for row in texts.to_dicts()}
    quiet = []
    for row in due_letters.entries.to_dicts():
        texts_of_it = {n: frozen[row["entry"]][n] for n in TEXTS} if row["entry"] in frozen else {}
        entry = written_entry(row) | texts_of_it
        if row["state"] == "told_before":
            quiet.append(entry)
        else:
            event({"entries": [entry]}, row)
    for start in range(0, len(quiet), _MANY):
        event({"entries": quiet[start : start + _MANY]})
    if publication is not None:
        event({"publication": publication})


def agencies_of_letters(connection: sa.Connection) -> list[str]:
    """The agencies that letters are to, by code."""
    agency = LETTERS.c.agency
    query = sa.select(agency).where(agency.is_not(None)).distinct().order_by(agency)
    return [str(code) for code in connection.execute(query).scalars()]
