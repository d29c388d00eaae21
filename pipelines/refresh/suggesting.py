"""Numbers in one feed that another feed does not know, with the one that is an edit away.

Belongs here: which columns name what. Does not belong here: the search
(`pipelines.records.suggestions`); nothing uses a suggestion, people read it.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipelines.records.suggestions import near_misses
from schemas.codes import FEEDS
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

# The column of `suggestions` by which commands and pages speak of serials alone.
SERIAL_COLUMNS = ("serial", "replaces")
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


def columns_read(feed: str) -> list[str]:
    """The columns of a feed's records that `suggestions` looks at."""
    named = [column for other, column in NAMING if other == feed]
    known = [column for other, column in NAMING.values() if other == feed]
    return [*dict.fromkeys([*named, *known]), "source_file", "source_line"]


def of_serials(found: pl.DataFrame) -> pl.DataFrame:
    """The suggestions of units: feed, file, line, column, serial, suggestion."""
    units = found.filter(pl.col("column").is_in(SERIAL_COLUMNS))
    return units.rename({"value": "serial"})


def of_claims(found: pl.DataFrame) -> pl.DataFrame:
    """The suggestions of claims: feed, file, line, column, claim, suggestion."""
    return found.filter(pl.col("column") == "claim").rename({"value": "claim"})


def suggestions(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Every number that names nothing on file and is one edit away from exactly one that does.

    Args:
        records: the records of every feed.

    Returns:
        feed, file, line, column, value, suggestion; sorted by feed, file and line.
    """
    found = []
    for (feed, column), (known_feed, known_column) in NAMING.items():
        known = records[known_feed][known_column].drop_nulls()
        unknown = (
            records[feed]
            .select(
                pl.lit(feed).alias("feed"),
                pl.lit(column).alias("column"),
                file="source_file",
                line="source_line",
                value=column,
            )
            .filter(pl.col("value").is_not_null())
            .join(known.unique().to_frame("value"), on="value", how="anti")
        )
        misses = near_misses(unknown["value"], known)
        found.append(unknown.join(misses, left_on="value", right_on="serial"))
    return (
        pl.concat(found)
        .select("feed", "file", "line", "column", "value", "suggestion")
        .sort("feed", "file", "line", "column")
    )
