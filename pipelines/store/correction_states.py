"""Whether each correction that people made is still needed, as the last refresh found the rows.

Belongs here: in force, confirmed, stale or withdrawn, with both rows. Does not belong here: putting
corrections into rows (`pipelines.records.corrections`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Literal

import duckdb
import polars as pl

from pipelines.events.recorded import DeskRecord, MadeCorrection
from pipelines.records.corrections import contents_of_sound, typed_texts
from pipelines.records.long_corrections import ANALYTE, analytes_of
from pipelines.store.database import has_table, identifier, query_frame
from schemas.codes import DESK_FILE
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES, record_schema

State = Literal["in_force", "confirmed", "stale", "withdrawn"]
STATES: tuple[State, ...] = ("stale", "in_force", "confirmed", "withdrawn")
_Place = tuple[str, int]


@dataclass(frozen=True)
class Standing:
    """The row that is the record of a key: where it stands and what it says, in one spelling."""

    file: str
    line: int
    values: dict[str, str]


@dataclass(frozen=True)
class CorrectionState:
    """A correction, its state, and for a stale one the row that stands there instead, if any."""

    made: MadeCorrection
    state: State
    instead: Standing | None = None

    @property
    def stale_sentence(self) -> str:
        """What a stale correction was of, and what stands there instead."""
        made = self.made
        changes = ", ".join(
            f"{name} {made.old.get(name) or 'empty'} → {value or 'empty'}"
            for name, value in made.correction.values.items()
        )
        sentence = (
            f"Correction {made.event} of {made.correction.feed} ({changes}; {made.file} line "
            f"{made.line}) is stale: "
        )
        if self.instead is None:
            return f"{sentence}no file holds that row any more."
        return f"{sentence}{self.instead.file} line {self.instead.line} says something else now."


def correction_states(
    con: duckdb.DuckDBPyConnection,
    recorded: DeskRecord,
    timezone: str,
    read_to: int | None = None,
) -> list[CorrectionState]:
    """Every correction, the stale ones first.

    Args:
        con: the store, as the last refresh left it. What was corrected since is in force.
        read_to: the last event that it has read; None where it tells that itself.
    """
    read_to = _last_read(con) if read_to is None else read_to
    states = [_state(con, recorded, made, timezone, read_to) for made in recorded.made]
    return sorted(states, key=lambda one: (STATES.index(one.state), -one.made.event))


def _state(
    con: duckdb.DuckDBPyConnection,
    recorded: DeskRecord,
    made: MadeCorrection,
    timezone: str,
    read_to: int,
) -> CorrectionState:
    if made.withdrawn is not None:
        return CorrectionState(made, "withdrawn")
    if made.event > read_to:
        return CorrectionState(made, "in_force")
    feed, content = made.correction.feed, dict(made.correction.content)
    corrected = dict(content)
    for one in recorded.corrections(feed):
        if dict(one.content) == content:
            corrected |= one.values
    corrected = {name: text for name, text in corrected.items() if text}
    places = _places(con, made.event)
    under_new = _record(con, feed, corrected, timezone)
    sound = {n: t for n, t in content.items() if n not in made.correction.unsound}
    under_old = _record(con, feed, sound, timezone)
    if under_new is not None and (under_new.file, under_new.line) not in places:
        if under_new.values == corrected:
            return CorrectionState(made, "confirmed")
        return CorrectionState(made, "stale", under_new)
    if under_old is not None and (under_old.file, under_old.line) not in places:
        return CorrectionState(made, "stale", under_old)
    return CorrectionState(made, "in_force" if places else "stale")


def _last_read(con: duckdb.DuckDBPyConnection) -> int:
    """The last event that a refresh has read, of those that decide anything."""
    recordings = query_frame(
        con, "select content from archived_files where kind = 'recorded' and path = ?", [DESK_FILE]
    )
    return max((json.loads(content)["event"] for content in recordings["content"]), default=0)


def _places(con: duckdb.DuckDBPyConnection, event: int) -> set[_Place]:
    if not has_table(con, "parsed_corrected"):
        return set()
    rows = con.execute("select file, line from parsed_corrected where correction = ?", [event])
    return {(file, line) for file, line in rows.fetchall()}


def _record(
    con: duckdb.DuckDBPyConnection, feed: str, texts: dict[str, str], timezone: str
) -> Standing | None:
    """The record of the key that a row says."""
    key = key_columns(FEED_TABLES[feed])
    typed = typed_texts(feed, [(0, texts)], timezone)[0].row(0, named=True)
    if any(typed[name] is None for name in key):
        return None
    if ANALYTE in texts:
        return _result(con, typed["sample"], (analytes_of(texts) or [texts[ANALYTE]])[0])
    where = " and ".join(f"{identifier(name)} = ?" for name in key)
    names = record_schema(feed).names()
    columns = ", ".join(identifier(name) for name in names)
    rows = query_frame(
        con,
        f"select {columns} from {identifier(feed)} where {where}",
        [typed[name] for name in key],
    ).cast(record_schema(feed))
    return _first(feed, rows)


def _result(con: duckdb.DuckDBPyConnection, sample: str, analyte: str) -> Standing | None:
    """The row of the long layout that gives a sample's value of an analyte."""
    rows = query_frame(
        con,
        "select p.* from parsed_water_tests p join row_fates f on f.feed = 'water_tests' and "
        "f.file = p.source_file and f.sheet = p.source_sheet and f.line = p.source_line "
        "and f.part = p.source_part where p.sample = ? and p.analyte = ? and f.fate = 'record'",
        [sample, analyte],
    )
    return _first("water_tests", rows)


def _first(feed: str, rows: pl.DataFrame) -> Standing | None:
    """The first of some sound rows, with its content; None where there is none."""
    row_contents = contents_of_sound(feed, rows)
    if not row_contents:
        return None
    return Standing(rows["source_file"][0], rows["source_line"][0], row_contents[0][1].texts)


def stale_sentences(
    con: duckdb.DuckDBPyConnection, recorded: DeskRecord, timezone: str, read_to: int | None = None
) -> list[str]:
    """A sentence for each correction that is stale."""
    if not recorded.made:
        return []
    states = correction_states(con, recorded, timezone, read_to)
    return [one.stale_sentence for one in states if one.state == "stale"]
