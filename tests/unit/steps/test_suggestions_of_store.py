"""Numbers that name nothing on file: found in the store as among the records of a check."""

import duckdb
import polars as pl

from pipelines.steps.near_serials import suggestions, suggestions_of_store
from pipelines.store.database import write_frame
from schemas.codes import FEEDS

PLACE = {"source_file": pl.String, "source_line": pl.Int64}


def _records() -> dict[str, pl.DataFrame]:
    """Two units and a claim, and numbers near to them, far from them and missing."""
    named = {
        "units": {"serial": ["F100", "F200"], "replaces": ["F10", None]},
        "startups": {"serial": ["F100", "F1OO"]},
        "water_tests": {"serial": [None, "F20"]},
        "treatment_purchases": {"serial": ["X", "F2000"]},
        "service_calls": {"serial": ["F200", "F300"], "claim": ["W-1", None]},
        "rulings": {},
        "credits": {"claim": ["W-2", "W-1"]},
    }
    place = pl.DataFrame({"source_file": ["a.csv", "b.csv"], "source_line": [3, 2]}, schema=PLACE)
    return {
        feed: place.with_columns(pl.Series(k, v, dtype=pl.String) for k, v in named[feed].items())
        for feed in FEEDS
    }


def test_the_store_tells_the_same_suggestions_as_the_records():
    """Whether joined by the store or by frames; nulls name nothing."""
    con = duckdb.connect()
    records = _records()
    for feed, frame in records.items():
        write_frame(con, feed, frame)
    told = suggestions_of_store(con)
    assert told.equals(suggestions(records))
    assert told.select("feed", "line", "column", "value", "suggestion").rows() == [
        ("credits", 3, "claim", "W-2", "W-1"),
        ("treatment_purchases", 2, "serial", "F2000", "F200"),
        ("units", 3, "replaces", "F10", "F100"),
        ("water_tests", 2, "serial", "F20", "F200"),
    ]


def test_where_everything_is_on_file_nothing_is_suggested():
    """An empty frame of the same columns."""
    con = duckdb.connect()
    records = {feed: frame.clear() for feed, frame in _records().items()}
    for feed, frame in records.items():
        write_frame(con, feed, frame)
    assert suggestions_of_store(con).equals(suggestions(records))
    assert suggestions_of_store(con).is_empty()
