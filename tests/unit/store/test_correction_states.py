"""When a correction is in force, confirmed, stale or withdrawn."""

from __future__ import annotations

import json
from dataclasses import replace

import duckdb
import polars as pl
import pytest

from pipelines.events.recorded import DeskRecord, MadeCorrection
from pipelines.records.corrections import Correction
from pipelines.store.correction_states import correction_states
from schemas.feeds import record_schema

ROW = {"serial": "U1", "model": "CO-1", "shipped_on": "2024-01-02", "site": "S1"}
MADE = MadeCorrection(
    Correction(5, "units", ROW, (), {"model": "CO-2"}),
    "units.csv",
    3,
    {"model": "CO-1"},
    "ann",
    "2026-01-01T00:00:00.000000+00:00",
    "mistyped",
    None,
)


def units(*rows):
    """Records of units: file, line, cells."""
    frame = pl.DataFrame(
        [{**cells, "source_file": file, "source_line": line} for file, line, cells in rows]
    )
    schema = record_schema("units")
    lacking = [pl.lit(None, kind).alias(n) for n, kind in schema.items() if n not in frame.columns]
    return (
        frame.with_columns(pl.col("shipped_on").str.to_date(), *lacking)
        .select(schema.names())
        .cast(schema)
    )


def state(made, records, places, read_to=5):
    """The state of one correction in a store of such records, corrected at such places."""
    con = duckdb.connect()
    con.register("units", records)
    con.execute("create table parsed_corrected (file varchar, line bigint, correction bigint)")
    for file, line in places:
        con.execute("insert into parsed_corrected values (?, ?, 5)", [file, line])
    con.execute("create table archived_files (kind varchar, path varchar, content blob)")
    told = json.dumps({"event": read_to}).encode()
    con.execute("insert into archived_files values ('recorded', '../desk', ?)", [told])
    [found] = correction_states(con, DeskRecord(9, made=(made,)), "UTC")
    con.close()
    return found.state, found.instead and found.instead.line


CORRECTED, OTHER = ROW | {"model": "CO-2"}, ROW | {"model": "CO-3"}
MOVED = replace(MADE, correction=replace(MADE.correction, values={"serial": "U2"}))
HERE, ELSE = ("units.csv", 3), ("later.csv", 8)
CASES = {
    "its row is the record": (MADE, [(*HERE, CORRECTED)], [HERE], ("in_force", None)),
    "it came again elsewhere": (MADE, [(*ELSE, CORRECTED)], [HERE, ELSE], ("in_force", None)),
    "the source sends it": (MADE, [(*ELSE, CORRECTED)], [HERE], ("confirmed", None)),
    "the source sends something else": (MADE, [(*ELSE, OTHER)], [HERE], ("stale", 8)),
    "the source sends the old model and another site": (
        MADE,
        [(*ELSE, ROW | {"site": "S2"})],
        [],
        ("stale", 8),
    ),
    "no file holds it": (MADE, [(*ELSE, ROW | {"serial": "U9"})], [], ("stale", None)),
    "another key": (MOVED, [(*HERE, ROW | {"serial": "U2"})], [HERE], ("in_force", None)),
    "another key that the source sends": (
        MOVED,
        [(*ELSE, ROW | {"serial": "U2"})],
        [HERE],
        ("confirmed", None),
    ),
    "another row under the old key": (
        MOVED,
        [(*HERE, ROW | {"serial": "U2"}), (*ELSE, OTHER)],
        [HERE],
        ("stale", 8),
    ),
    "withdrawn": (replace(MADE, withdrawn=7), [(*HERE, ROW)], [], ("withdrawn", None)),
}


@pytest.mark.parametrize(("made", "rows", "places", "expected"), CASES.values(), ids=CASES)
def test_each_correction_has_its_state(made, rows, places, expected):
    """By the row that now is the record, and where the correction was put in."""
    assert state(made, units(*rows), places) == expected


def test_what_no_refresh_has_read_is_in_force():
    """A correction counts from the moment it was made."""
    assert state(MADE, units((*HERE, ROW)), [], read_to=4) == ("in_force", None)
