"""Numbers in one feed that another feed does not know, with the one that is an edit away.

Belongs here: which columns name what. Does not belong here: the search
(`pipelines.records.suggestions`); nothing uses a suggestion, people read it.
"""

from __future__ import annotations

from collections.abc import Mapping

import duckdb
import polars as pl

from pipelines.records.suggestions import near_misses
from pipelines.store.database import read_frame
from pipelines.store.lookups import without_record
from schemas.codes import FEEDS
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

# The column of `suggestions` by which commands and pages speak of serials alone.
SERIAL_COLUMNS = ("serial", "replaces")
# So many rows of a column at most are told of.
MOST_TOLD = 5
# What a column of a feed names: a unit of the register or a claim of the calls.
NAMING = {
    **{
        (feed, "serial"): ("units", "serial")
        for feed in FEEDS
        if feed != "units" and "serial" in column_names(FEED_TABLES[feed])
    },
    ("units", "replaces"): ("units", "serial"),
    ("credits", "claim"): ("service_calls", "claim"),
}


def of_serials(suggested: pl.DataFrame) -> pl.DataFrame:
    """The suggestions of units: feed, file, line, column, serial, suggestion."""
    units = suggested.filter(pl.col("column").is_in(SERIAL_COLUMNS))
    return units.rename({"value": "serial"})


def of_claims(suggested: pl.DataFrame) -> pl.DataFrame:
    """The suggestions of claims: feed, file, line, column, claim, suggestion."""
    return suggested.filter(pl.col("column") == "claim").rename({"value": "claim"})


def suggestions(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Every number that names nothing on file and is one edit away from exactly one that does.

    Args:
        records: the records of every feed.

    Returns:
        feed, file, line, column, value, suggestion; sorted by feed, file and line.
    """
    frames = []
    for (feed, column), (known_feed, known_column) in NAMING.items():
        known = records[known_feed][known_column].drop_nulls()
        unknown = (
            records[feed]
            .select(file="source_file", line="source_line", value=column)
            .filter(pl.col("value").is_not_null())
            .join(known.unique().to_frame("value"), on="value", how="anti")
        )
        frames.append(_near(feed, column, unknown, known))
    return _in_order(frames)


def suggestions_of_store(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The same of the records in the store, which looks for what names nothing by itself."""
    frames = []
    for (feed, column), (known_feed, known_column) in NAMING.items():
        unknown = without_record(con, feed, column, known_feed, known_column)
        if unknown.height:
            known = read_frame(con, known_feed, columns=[known_column])[known_column]
            frames.append(_near(feed, column, unknown, known.drop_nulls()))
    return _in_order(frames)


def _near(feed: str, column: str, unknown: pl.DataFrame, known: pl.Series) -> pl.DataFrame:
    misses = near_misses(unknown["value"], known)
    misspelled = unknown.join(misses, left_on="value", right_on="serial").sort("file", "line")
    # What is more is in the join report.
    return misspelled.head(MOST_TOLD).select(
        pl.lit(feed).alias("feed"),
        "file",
        "line",
        pl.lit(column).alias("column"),
        "value",
        "suggestion",
    )


def _in_order(frames: list[pl.DataFrame]) -> pl.DataFrame:
    columns = ["feed", "file", "line", "column", "value", "suggestion"]
    schema = {name: pl.Int64 if name == "line" else pl.String for name in columns}
    return pl.concat([pl.DataFrame(schema=schema), *frames]).sort("feed", "file", "line", "column")
