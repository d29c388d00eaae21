"""Corrections of landed rows: other values in the place of those that a row came with.

Belongs here: whether a row may be corrected so, and recording it. Does not belong here: putting
corrections into rows (`pipelines.records.corrections`).
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
from pipelines.actions.records import (
    OF_ENGINEERS,
    checked_cells,
    needed_documents,
    refuse_taken_claim,
    version_of_claim,
)
from pipelines.actions.values import for_a_person, refuse, text
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.documents import Document
from pipelines.events.event import Recorded
from pipelines.events.recorded import DeskRecord, MadeCorrection, recorded_in, recorded_of
from pipelines.queries.judging_now import moved_by_rows, reasons_of
from pipelines.queries.landed_rows import LandedRow, find_row
from pipelines.queries.rows_now import rows_now
from pipelines.records.corrections import Correction, typed_texts
from pipelines.records.long_corrections import ANALYTE, analytes_of
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.reading import open_store, published_state
from pipelines.workspace.layout import Workspace
from schemas.codes import FEEDS
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES

OF_ENGINEERS_IN_CALLS = {"cause"}
RULED = "rulings"  # what they grant is checked where somebody rules
CORRECTED = tuple(feed for feed in FEEDS if feed != RULED)


def correct(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    feed: str,
    file: str,
    line: int,
    values: Mapping[str, str],
    reason: str,
    was: Mapping[str, str] | None = None,
    documents: Sequence[str] = (),
    kept: Sequence[Document] = (),
) -> Answer:
    """Corrects the rows of a row's content, wherever they stand.

    Args:
        was: the cells as the caller saw them; None where a command acts, which has no page before
            it.
        documents, kept: as `enter` has them.

    Returns:
        event, claim and version (of a row that is a claim's), `correction`, and `claims`: each
        claim that it bears on, with its decision before and after.

    Raises:
        Refused: 403 for the role, 404 where no such row stands, 409 where it is no longer as it was
            seen, 422 for values.
    """
    cells = checked_values(caller, feed, values)
    told_reason = text("reason", reason)
    needed_documents(desk, documents)
    documents = [*documents, *(one.sha256 for one in kept)]
    inputs = load_inputs(workspace.root, caller.as_of, DeskRecord())

    def do(connection: sa.Connection) -> int:
        known = recorded_in(desk, connection)
        row, new = _judged(inputs, known, feed, file, line, cells, was)
        claim = row.now.get("claim") if feed == "service_calls" else None
        payload = {
            "feed": feed,
            "file": file,
            "line": line,
            "content": dict(new.content),
            "unsound": list(new.unsound),
            "was": {name: row.now.get(name, "") for name in cells},
            "values": cells,
            "reason": told_reason,
            "documents": list(documents),
        }
        subject = f"{feed} {file} line {line}"
        name_documents(desk, connection, caller, kept, claim)
        return desk.append(
            connection, caller.event("correction", claim=claim, subject=subject, payload=payload)
        )

    return act(desk, caller, do, lambda event: correction_answer(desk, caller, inputs, event))


def correction_answer(desk: Desk, caller: Caller, inputs: Inputs, event: Recorded) -> Answer:
    """The answer to a correction, once the register has the letters that it makes due."""
    after, before = recorded_of(desk, event.event), recorded_of(desk, event.event - 1)
    moved, decided = moved_by_rows(
        inputs,
        before,
        after,
        event.payload["feed"],
        keys_of_correction(event.payload, inputs.settings.timezone, before),
    )
    letters_after(desk, caller, [one.claim for one in moved], decided)
    shown = ("feed", "file", "line", "was", "values", "reason", "documents")
    return {
        "event": event.event,
        **version_of_claim(desk, event),
        "correction": {name: event.payload[name] for name in shown},
        "claims": [one.to_dict() for one in moved],
    }


def keys_of_correction(
    payload: Mapping[str, Any], timezone: str, before: DeskRecord
) -> pl.DataFrame:
    """The keys that a row has without and with a correction, and with the others of its content."""
    feed, content = payload["feed"], dict(payload["content"])
    texts = [content]
    for one in before.corrections(feed):
        if dict(one.content) == content:
            texts.append(texts[-1] | dict(one.values))
    texts += [texts[-1] | payload["values"], content | payload["values"]]
    lines = [(at, {n: t for n, t in cells.items() if t}) for at, cells in enumerate(texts)]
    keys = typed_texts(feed, lines, timezone)[0].select(key_columns(FEED_TABLES[feed]))
    return keys.drop_nulls().unique()


def checked_values(caller: Caller, feed: str, values: Mapping[str, str]) -> dict[str, str]:
    """The new cells; refuses what the role may not correct."""
    caller.require("correct")
    if feed == RULED:
        raise refuse("feed", "is not corrected: rule on the claim, which keeps the limits.")
    if feed not in CORRECTED:
        raise refuse("feed", f"is none whose rows are corrected here: {', '.join(CORRECTED)}.")
    cells = checked_cells(feed, values, may_empty=True)
    if caller.role == "engineer" and feed not in OF_ENGINEERS:
        beyond = set(cells) - OF_ENGINEERS_IN_CALLS
        if feed != "service_calls" or beyond:
            raise Refused(
                403,
                f"{caller.name} is an engineer, who corrects {' and '.join(OF_ENGINEERS)}, and of "
                "a call its cause alone. Nothing was recorded.",
                [("feed", "is not an engineer's")],
            )
    return cells


def _judged(
    inputs: Inputs,
    known: DeskRecord,
    feed: str,
    file: str,
    line: int,
    cells: dict[str, str],
    was: Mapping[str, str] | None,
) -> tuple[LandedRow, Correction]:
    """The row as it is, and the correction, once both may be."""
    inputs = replace(inputs, recorded=known)
    with open_store(inputs.workspace) as con:
        published_state(inputs.workspace, con)
        row = find_row(con, inputs, feed, file, line)
        if row is None:
            raise Refused(
                404,
                f"No row of {feed} with columns is at {file} line {line}. One that could not "
                "be read is entered anew: `limeledger enter`, with --settles.",
            )
        _refuse_unseen(row, was)
        _refuse_two_results(row, cells)
        number = known.last_event + 1
        new = Correction(number, feed, row.content.texts, row.content.unsound, cells)
        if row.now == row.put_into({**row.content.texts, **cells}) and all(
            (row.now.get(name) or "") == value for name, value in cells.items()
        ):
            raise refuse("values", "are those that are there; nothing is to be corrected.")
        made = MadeCorrection(new, file, line, {}, "", "", "", None)
        with_it = replace(
            inputs, recorded=replace(known, last_event=number, made=(*known.made, made))
        )
        now = rows_now(con, with_it, feed)
    if now is not None:
        before = {(column, rule) for column, rule, _ in row.reasons}
        fresh = [
            (f"values.{column}" if column else "values", f"{for_a_person(reason)} ({rule})")
            for column, rule, reason in reasons_of(now, file, line)
            if (column, rule) not in before
        ]
        if fresh:
            raise Refused(
                422,
                f"{fresh[0][1]} The row would be set aside; correct all its columns in one "
                "action. Nothing was recorded.",
                fresh,
            )
        refuse_taken_claim(now, file, line, cells)
    return row, new


def _refuse_two_results(row: LandedRow, cells: Mapping[str, str]) -> None:
    """Refuses two values for a row that holds one: of a file with one row an analyte."""
    if ANALYTE in row.content.texts and len(analytes_of({**row.now, **cells})) > 1:
        raise refuse("values", "hold two analytes, and this row holds one; empty the other one.")


def _refuse_unseen(row: LandedRow, was: Mapping[str, str] | None) -> None:
    """Refuses a correction of a row that is no longer as its caller saw it."""
    if was is None:
        return
    spelled, typed = row.now, row.put_into(row.typed)
    other = [
        name
        for name, seen in was.items()
        if (seen or "").strip() not in (spelled.get(name, ""), typed.get(name, ""))
    ]
    if other:
        last = row.corrections[-1] if row.corrections else None
        by = f" {last.actor} corrected it at {last.at[:16]}Z ({last.reason})." if last else ""
        raise Refused(
            409,
            f"{row.file} line {row.line} is no longer as you saw it: {', '.join(other)}.{by} Look "
            "at it again. Nothing was recorded.",
            [(f"was.{name}", f"is {typed.get(name, '')!r} now") for name in other],
        )
