"""Rows that count for nothing: set aside with all reasons, or superseded with what counts."""

from __future__ import annotations

import duckdb
import polars as pl
import pytest

from pipelines.queries.unused_rows import UNUSED, unused_rows
from schemas.codes import FEEDS
from schemas.columns import polars_schema
from schemas.feeds import FEED_TABLES, record_schema
from schemas.store import RowFates

PLACE = ("source_file", "source_line")


def _table(con, name: str, schema: pl.Schema, rows: list[dict]) -> None:
    frame = pl.DataFrame([{n: row.get(n) for n in schema} for row in rows], schema=schema)
    con.register("frame", frame)
    con.execute(f"create table {name} as select * from frame")
    con.unregister("frame")


@pytest.fixture
def con():
    """A store in which a unit's row is superseded by a later export, another is a duplicate, and
    two rows are set aside, one for two reasons."""
    con = duckdb.connect()
    landed = dict.fromkeys(("file", "sheet", "raw"), pl.String) | {"line": pl.Int64}
    for feed in FEEDS:
        parsed = record_schema(feed)
        units = feed == "units"
        rows = [("a.csv", 2, "U1"), ("b.csv", 7, "U1"), ("a.csv", 3, "U2"), ("b.csv", 8, "U2")]
        typed = [{"source_file": f, "source_line": n, "serial": s} for f, n, s in rows]
        _table(con, f"parsed_{feed}", parsed, typed if units else [])
        _table(con, feed, parsed, [typed[1], typed[3]] if units else [])
        raw = [{"file": f, "line": n, "raw": f"{s},x"} for f, n, s in rows]
        _table(con, f"landed_{feed}", pl.Schema(landed), raw if units else [])
    fates = zip(rows, ("superseded", "record", "duplicate", "record"), strict=True)
    told = [{"feed": "units", "file": f, "line": n, "fate": fate} for (f, n, _), fate in fates]
    _table(con, "row_fates", polars_schema(RowFates), told)
    reason = dict.fromkeys(("feed", "file", "column", "value", "rule", "reason"), pl.String)
    aside = [("units", 9, "model"), ("units", 9, "shipped_on"), (None, 1, None)]
    told = [
        {"feed": feed, "file": "a.csv", "line": line, "column": column, "rule": "r", "reason": "R."}
        for feed, line, column in aside
    ]
    _table(con, "set_aside", pl.Schema(reason | {"line": pl.Int64}), told)
    yield con
    con.close()


def test_each_row_that_is_not_used_stands_once(con):
    """Set aside first, all reasons together; a superseded one names the row that counts."""
    found = unused_rows(con)
    assert found.schema == UNUSED
    assert found.select("kind", "feed", "file", "line").rows() == [
        ("set_aside", "units", "a.csv", 9),
        ("set_aside", None, "a.csv", 1),
        ("superseded", "units", "a.csv", 2),
    ]
    columns = [[one["column"] for one in reasons] for reasons in found["reasons"].to_list()]
    told = [["model", "shipped_on"], ["None"], ["None"]]
    assert [sorted(map(str, one)) for one in columns] == told
    assert found["reasons"][2].to_list() == [
        {
            "column": None,
            "value": "U1,x",
            "rule": "superseded",
            "reason": "Another row of the same number counts: b.csv line 7.",
        }
    ]


def test_a_record_that_somebody_entered_is_listed_with_what_differs(con):
    """Beside the row of the export that counts in its stead, column by column."""
    typed = "insert into parsed_units by name select '../desk' as source_file, 5 as source_line, "
    con.execute(f"{typed} 'U1' as serial, 'M-1' as model, 'S' as site")
    con.execute("update units set site = 'S', region = 'US-NM' where serial = 'U1'")
    values = "'units' as feed, '../desk' as file, 5 as line, 'superseded' as fate"
    con.execute(f"insert into row_fates by name select {values}")
    found = unused_rows(con).filter(file="../desk")
    assert found["reasons"].item()[0]["reason"] == (
        "Another row of the same number counts: b.csv line 7. "
        "It differs: model M-1 here, empty there; region empty here, US-NM there."
    )


def test_every_feed_is_looked_through():
    """None of FEEDS is without its table."""
    assert set(FEEDS) == set(FEED_TABLES)
