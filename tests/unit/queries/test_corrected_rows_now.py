"""Rows of a corrected content since the last refresh: where they are, why not used."""

from __future__ import annotations

from types import SimpleNamespace

import duckdb
import polars as pl

from pipelines.events.recorded import DeskRecord, MadeCorrection
from pipelines.queries.corrected_places import PLACE, places_of
from pipelines.queries.rows_now import _rewritten
from pipelines.records.corrections import Correction
from pipelines.steps.ingest import stored_schema

FEED = "service_calls"
CONTENT = {
    "call": "C1",
    "serial": "U1",
    "kind": "repair",
    "opened_on": "2025-03-01",
    "parts_amount": "10",
}


def correction(event: int, amount: str) -> Correction:
    """Another amount in a call."""
    return Correction(event, FEED, CONTENT, (), {"parts_amount": amount})


def test_a_value_that_is_none_sets_aside_each_row_of_the_content() -> None:
    """Whichever of them was corrected, it is told why it would not be used."""
    schema = {name: stored_schema(FEED)[name] for name in PLACE}
    places = pl.DataFrame([("a.csv", "", 2, 1), ("b.csv", "", 7, 1)], schema=schema, orient="row")
    rows, reasons = _rewritten(FEED, correction(1, "abc"), [correction(1, "abc")], places, "UTC")
    assert rows.is_empty()
    assert reasons.select("file", "line", "column", "rule").rows() == [
        ("a.csv", 2, "parts_amount", "amount"),
        ("b.csv", 7, "parts_amount", "amount"),
    ]


def test_a_correction_that_the_refresh_knew_is_where_it_was_put_in_and_nowhere_else() -> None:
    """Its file may hold another row there by now; one that is newer is where it was made."""
    made = [
        MadeCorrection(correction(event, "12"), file, line, {}, "Ada", "", "", None)
        for event, file, line in ((3, "old.csv", 2), (7, "new.csv", 4))
    ]
    inputs = SimpleNamespace(recorded=DeskRecord(7, made=tuple(made)))
    with duckdb.connect() as con:
        empty = stored_schema(FEED).to_frame()
        con.register("rows_typed", empty.to_arrow())
        con.execute(f"create table parsed_{FEED} as from rows_typed")
        con.execute("create table register_seen as select 3::bigint as last_event")
        con.execute(
            "create table parsed_corrected as select 'service_calls' as feed, 'moved.csv' as file, "
            "'' as sheet, 9::bigint as line, 3::bigint as correction"
        )
        con.execute("create table landed_service_calls as select '' as file, 0::bigint as line")
        found = places_of(con, inputs, FEED, made[1].correction, [3, 7])
    assert sorted(found.select("source_file", "source_line").rows()) == [
        ("moved.csv", 9),
        ("new.csv", 4),
    ]
