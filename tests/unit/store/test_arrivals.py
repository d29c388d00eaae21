"""Since when a record is known that the published store and the archive do not know."""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl
import pytest

from pipelines.records.long_layout import parsed_long_schema
from pipelines.store.arrivals import with_arrivals
from pipelines.store.database import write_frame
from schemas.feeds import record_schema

FIRST, SECOND, TODAY = dt.date(2026, 3, 1), dt.date(2026, 3, 2), dt.date(2026, 3, 9)
FILES = pl.DataFrame({"file": ["a.csv", "b.csv"], "arrived_on": [FIRST, SECOND]})
CORRECTED = {"feed": pl.String, "file": pl.String, "sheet": pl.String, "line": pl.Int64}


def days(feed: str, record: dict, parsed: list[dict], corrected: list[tuple]) -> tuple:
    """arrived_on and first_arrived_on of one record, of rows in files."""
    kinds = record_schema(feed)
    stored = {**kinds, **parsed_long_schema()} if feed == "water_tests" else kinds
    with duckdb.connect() as con:
        rows = [{"source_sheet": "", **row} for row in parsed]
        write_frame(con, f"parsed_{feed}", pl.DataFrame(rows, schema=stored))
        write_frame(
            con, "parsed_corrected", pl.DataFrame(corrected, schema=CORRECTED, orient="row")
        )
        records = pl.DataFrame([{"source_sheet": "", **record}], schema=kinds)
        told = with_arrivals(con, feed, records, FILES, TODAY)
    return told.select("arrived_on", "first_arrived_on").row(0)


@pytest.mark.parametrize(
    ("site", "corrected", "told"),
    [
        ("S1", [], (FIRST, FIRST)),
        ("S2", [], (TODAY, FIRST)),
        ("S1", [("units", "a.csv", "", 2)], (TODAY, FIRST)),
        ("S1", [("units", "a.csv", "", 3)], (FIRST, FIRST)),
        ("S1", [("startups", "a.csv", "", 2)], (FIRST, FIRST)),
    ],
)
def test_a_content_came_with_the_file_that_holds_it_unless_a_person_put_it_there(
    site, corrected, told
):
    """Its key was known before."""
    row = {"serial": "A1", "site": "S1", "source_file": "a.csv", "source_line": 2}
    assert days("units", row | {"site": site}, [row], corrected) == told


def result(file: str, line: int, analyte: str, value: float) -> dict:
    """One row of a laboratory's file."""
    place = {"source_file": file, "source_line": line}
    return {"sample": "W1", "analyte": analyte, "result": value, **place}


@pytest.mark.parametrize(
    ("parsed", "corrected", "told"),
    [
        ([result("a.csv", 2, "ph", 7.0)], [], FIRST),
        ([result("a.csv", 2, "ph", 7.0), result("b.csv", 2, "iron_mg_l", 1.0)], [], SECOND),
        ([result("a.csv", 2, "ph", 7.0), result("b.csv", 2, "ph", 7.0)], [], FIRST),
        ([result("a.csv", 2, "ph", 7.0), result("c.csv", 2, "iron_mg_l", 1.0)], [], TODAY),
        ([result("a.csv", 2, "ph", 7.0)], [("water_tests", "a.csv", "", 2)], TODAY),
        ([result("b.csv", 2, "ph", 7.0)], [], TODAY),
    ],
)
def test_a_sample_with_a_row_an_analyte_came_with_the_last_of_its_results(parsed, corrected, told):
    """Told again they keep their day; a file that is not known is today's."""
    record = {"sample": "W1", "ph": 7.0, "source_file": "a.csv", "source_line": 2}
    assert days("water_tests", record, parsed, corrected)[0] == told
