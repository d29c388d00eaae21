"""Gathers from the store what the page of start-ups shows.

Belongs here: what is new, counts, and the rows that a page can hold. Does not belong here: any
rule (`pipelines.startups`), looks (`dashboards`).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import duckdb
import polars as pl

from pipelines.startups.what_came_in import what_came_in
from pipelines.store.database import read_frame
from pipelines.store.lookups import rows_of
from pipelines.store.startup_reads import most_pressing, new_reports, new_results, startup_counts

# So many rows a table are in the page; all are under data/.
MOST_ROWS, MOST_NEW = 3_000, 200


def startup_page_data(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> dict[str, Any]:
    """What `PageData` has of start-ups, by the names of its fields."""
    return {
        **most_pressing(con, MOST_ROWS),
        "journey_rates": read_frame(con, "journey_rates"),
        "startup_counts": startup_counts(con),
        "came_in": _came_in(con, as_of),
    }


def _came_in(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> pl.DataFrame:
    """The newest of what the published store did not know, or knew otherwise."""
    reports, results = new_reports(con, as_of, MOST_NEW), new_results(con, MOST_NEW)
    serials = pl.concat([reports["serial"], results["serial"]])
    return what_came_in(
        reports,
        results,
        rows_of(con, "startup_reviews", reports["report"]),
        rows_of(con, "treatment_recommendations", serials),
        rows_of(con, "upcoming", serials),
    )
