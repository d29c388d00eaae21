"""Rows of the store's tables that belong to some claims, units or files.

Belongs here: look-ups that a step and a query share. Does not belong here: what is done with the
rows, or any rule.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, query_frame, registered
from pipelines.store.evidence import records


def rows_of(con: duckdb.DuckDBPyConnection, table: str, keys: pl.Series) -> pl.DataFrame:
    """The rows of a table that have one of the keys in the column of the keys' name."""
    with registered(con, keys.unique().to_frame()) as wanted:
        return query_frame(con, f"select * from {table} semi join {wanted} using ({keys.name})")


def arrivals(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The accounts of the files that the published store does not have, or reads otherwise."""
    known = "(select null as file, null as sha256, null as read_by)"
    if has_table(con, f"{LAST}.export_files"):
        known = f"{LAST}.export_files"
    return query_frame(
        con,
        "select a.feed, a.file, sum(a.rows_read)::bigint as rows_read, "
        "sum(a.records)::bigint as records, sum(a.set_aside)::bigint as set_aside "
        "from row_accounts a join export_files f using (file) "
        f"anti join {known} k on (k.file, k.sha256, k.read_by) = (f.file, f.sha256, f.read_by) "
        "group by a.feed, a.file order by a.feed, a.file",
    )


def payment_of(con: duckdb.DuckDBPyConnection, claim: str) -> dict[str, Any] | None:
    """One claim's row of `payments` as the last refresh left it; None where there is none."""
    if not has_table(con, "payments"):
        return None
    rows = query_frame(con, "select * from payments where claim = ?", [claim])
    return rows.row(0, named=True) if rows.height else None


def credits_of(con: duckdb.DuckDBPyConnection, claims: pl.Series, as_of: dt.date) -> pl.DataFrame:
    """The credits of some claims as seen on a day, in the order in which they were posted."""
    wanted = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    posted = records(con, "credits").filter(pl.col("credited_on") <= as_of)
    return posted.join(wanted, on="claim", how="semi").sort("claim", "credited_on", "credit")


def landed_rows(con: duckdb.DuckDBPyConnection, feed: str, cited: pl.DataFrame) -> pl.DataFrame:
    """The landed rows of one feed that are cited: feed, key, file, sheet, line, raw.

    `cited` has feed, key, file and line, each row once.
    """
    with registered(con, cited) as wanted:
        return query_frame(
            con,
            f"select c.feed, c.key, l.file, l.sheet, l.line, l.raw from landed_{feed} l "
            f"join {wanted} c using (file, line) semi join {feed} r on r.source_file = l.file "
            "and r.source_sheet = l.sheet and r.source_line = l.line",
        )
