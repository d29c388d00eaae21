"""Records that people enter: a row of a feed that no export brought.

Belongs here: whether a record may be entered, and entering it. Does not belong here: correcting a
row (`pipelines.actions.corrections`), what records mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl
import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import Caller
from pipelines.actions.documents import name_documents
from pipelines.actions.letters_after import letters_after
from pipelines.actions.on_file import decision_on_file
from pipelines.actions.values import for_a_person, is_sound, refuse
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.documents import Document, document_path
from pipelines.events.event import Recorded
from pipelines.events.recorded import DeskRecord, EnteredRecord, recorded_in, recorded_of
from pipelines.queries.judging_now import (
    fate_of,
    moved_by_rows,
    places_losing_claim,
    reasons_of,
)
from pipelines.queries.rows_now import RowsNow, rows_now
from pipelines.records.corrections import typed_texts
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.lookups import is_set_aside
from pipelines.store.reading import open_store, published_state
from pipelines.workspace.layout import Workspace
from schemas.codes import DESK_FILE, FEEDS
from schemas.columns import column_names, key_columns
from schemas.feeds import FEED_TABLES

NOT_ENTERED = ("rulings", "credits")
ENTERED = tuple(feed for feed in FEEDS if feed not in NOT_ENTERED)
OF_ENGINEERS = ("water_tests", "startups")
MOST_CELL = 10_000


def enter(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    feed: str,
    values: Mapping[str, str],
    claim: str | None = None,
    documents: Sequence[str] = (),
    settles: Mapping[str, Any] | None = None,
    kept: Sequence[Document] = (),
) -> Answer:
    """Enters a record.

    Args:
        documents: by SHA-256, documents that were brought before.
        kept: documents that come with it; they are named where the record is entered, and only
            then.

    Returns:
        event, claim and version (where a claim is named), `record`, and `claims`: each claim that
        it bears on, with its decision before and after.

    Raises:
        Refused: 403 for the role, 404 for the claim, 409 where the key is on file, 422 for values.
    """
    feed = checked_feed(caller, feed)
    cells = checked_cells(feed, values)
    place = _settled(desk, feed, settles)
    needed_documents(desk, documents)
    documents = [*documents, *(one.sha256 for one in kept)]
    if feed == "service_calls" and not documents and place is None:
        raise refuse(
            "documents", "are missing: a service call is entered with one, or settles a row."
        )
    if claim is not None:
        decision_on_file(desk, claim, caller.as_of)
    inputs = load_inputs(workspace.root, caller.as_of, DeskRecord())
    payload = {
        "feed": feed,
        "values": cells,
        "documents": list(documents),
        "settles": None if place is None else {"file": place[0], "line": place[1]},
    }
    subject = f"{feed} {_key_text(feed, cells)}"

    def do(connection: sa.Connection) -> int:
        known = recorded_in(desk, connection)
        number = known.last_event + 1
        new = EnteredRecord(number, feed, claim, cells, place, tuple(documents), caller.actor, "")
        _refuse_unusable(replace(inputs, recorded=_with(known, new)), feed, number, cells)
        name_documents(desk, connection, caller, kept, claim)
        return desk.append(
            connection, caller.event("record", claim=claim, subject=subject, payload=payload)
        )

    return act(desk, caller, do, lambda event: record_answer(desk, caller, inputs, event))


def record_answer(desk: Desk, caller: Caller, inputs: Inputs, event: Recorded) -> Answer:
    """The answer to a record that was entered, once the register has the letters it makes due."""
    after, before = recorded_of(desk, event.event), recorded_of(desk, event.event - 1)
    feed, values = event.payload["feed"], event.payload["values"]
    keys = keys_of_record(feed, values, inputs.settings.timezone)
    moved, decided = moved_by_rows(inputs, before, after, feed, keys)
    letters_after(desk, caller, [one.claim for one in moved], decided)
    return {
        "event": event.event,
        **version_of_claim(desk, event),
        "record": {"file": DESK_FILE, "line": event.event, **event.payload},
        "claims": [one.to_dict() for one in moved],
    }


def version_of_claim(desk: Desk, event: Recorded) -> dict[str, Any]:
    """The claim that an event is of, with its version now; nothing where it is of none."""
    if event.claim is None:
        return {}
    with desk.reading() as connection:
        return {"claim": event.claim, "version": desk.version(connection, event.claim)}


def checked_feed(caller: Caller, feed: str) -> str:
    """A feed of which the caller may enter records.

    Raises:
        Refused: 422 for no such feed, 403 for the role.
    """
    caller.require("record")
    if feed not in ENTERED:
        raise refuse("feed", f"is none that records are entered for: {', '.join(ENTERED)}.")
    if caller.role == "engineer" and feed not in OF_ENGINEERS:
        raise Refused(
            403,
            f"{caller.name} is an engineer, who enters {' and '.join(OF_ENGINEERS)}. "
            "Nothing was recorded.",
            [("feed", "is not an engineer's")],
        )
    return feed


def checked_cells(
    feed: str, values: Mapping[str, str], *, may_empty: bool = False
) -> dict[str, str]:
    """Cells by the feed's columns, trimmed; without the empty ones unless those count.

    Raises:
        Refused: 422 for columns that the feed has not, and for texts that no table holds.
    """
    names = column_names(FEED_TABLES[feed])
    cells: dict[str, str] = {}
    for name, value in values.items():
        field = f"values.{name}"
        if name not in names:
            raise refuse(field, f"is no column of {feed}; it has {', '.join(names)}.")
        text = "" if value is None else str(value).strip()
        if not is_sound(text) or len(text) > MOST_CELL:
            raise refuse(field, "holds what no cell can; write it shorter or without NUL.")
        if text or may_empty:
            cells[name] = text
    if not cells:
        raise refuse("values", "are empty; give the columns of the row.")
    return cells


def needed_documents(desk: Desk, documents: Sequence[str]) -> None:
    """Refuses documents that the desk does not hold."""
    for sha256 in documents:
        if not isinstance(sha256, str) or document_path(desk, sha256) is None:
            raise refuse("documents", f"name {sha256}, which is not at the desk; send it first.")


def _settled(desk: Desk, feed: str, settles: Mapping[str, Any] | None) -> tuple[str, int] | None:
    """The place of the set-aside row that a record stands for."""
    if settles is None:
        return None
    try:
        file, line = str(settles["file"]), int(settles["line"])
    except (KeyError, TypeError, ValueError):
        raise refuse("settles", "is no file and line; write both.") from None
    with open_store(desk.workspace) as con:
        is_there = is_set_aside(con, feed, file, line)
    if not is_there:
        raise refuse("settles", f"names {file} line {line}, where no row of {feed} is set aside.")
    return file, line


def _with(known: DeskRecord, new: EnteredRecord) -> DeskRecord:
    return replace(known, last_event=new.event, records=(*known.records, new))


def _refuse_unusable(inputs: Inputs, feed: str, number: int, cells: Mapping[str, str]) -> None:
    """Refuses a record that would be set aside, or whose key is on file."""
    with open_store(inputs.workspace) as con:
        published_state(inputs.workspace, con)
        now = rows_now(con, inputs, feed)
    assert now is not None  # it has the new row
    if reasons := reasons_of(now, DESK_FILE, number):
        faults = [
            (f"values.{column}" if column else "values", f"{for_a_person(reason)} ({rule})")
            for column, rule, reason in reasons
        ]
        raise Refused(422, f"{faults[0][1]} Nothing was recorded.", faults)
    refuse_taken_claim(now, DESK_FILE, number, cells)
    others = now.same_key(DESK_FILE, number)
    if others:
        file, line = others[0]
        raise Refused(
            409,
            f"{' and '.join(key_columns(FEED_TABLES[feed]))} is on file already, at {file} line "
            f"{line}; correct that row instead. Nothing was recorded.",
            [("values", f"are on file at {file} line {line}")],
        )
    assert fate_of(now, DESK_FILE, number) == "record"


def refuse_taken_claim(now: RowsNow, file: str, line: int, cells: Mapping[str, str]) -> None:
    """Refuses a claim number that another call has, which would lose it to this earlier one."""
    claim = cells.get("claim")
    if not claim:
        return
    for place in places_losing_claim(now, claim):
        if place != (file, line):
            raise Refused(
                409,
                f"claim {claim} is on file already, at {place[0]} line {place[1]}; correct that "
                "row instead. Nothing was recorded.",
                [("values.claim", f"is on file at {place[0]} line {place[1]}")],
            )


def keys_of_record(feed: str, values: Mapping[str, str], timezone: str) -> pl.DataFrame:
    """The key of a row that a person typed."""
    return typed_texts(feed, [(0, values)], timezone)[0].select(key_columns(FEED_TABLES[feed]))


def _key_text(feed: str, cells: Mapping[str, str]) -> str:
    return "-".join(cells.get(name, "") for name in key_columns(FEED_TABLES[feed]))
