"""Rows of the store's tables that belong to some claims, units or files.

Belongs here: look-ups that a step and a query share. Does not belong here: what is done with the
rows, or any rule.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, identifier, query_frame
from pipelines.store.evidence import records
from pipelines.store.frames_for_sql import registered


def rows_of(con: duckdb.DuckDBPyConnection, table: str, keys: pl.Series) -> pl.DataFrame:
    """The rows of a table that have one of the keys in the column of the keys' name."""
    with registered(con, keys.unique().to_frame()) as wanted:
        return query_frame(con, f"select * from {table} semi join {wanted} using ({keys.name})")


def first_rows(
    con: duckdb.DuckDBPyConnection, table: str, columns: Sequence[str], most: int
) -> list[tuple[str | None, ...]]:
    """Some rows of a table, each value as text."""
    chosen = ", ".join(f"cast({identifier(column)} as varchar)" for column in columns)
    rows = con.execute(f"select {chosen} from {identifier(table)} limit ?", [most])
    return rows.fetchall()


def without_record(
    con: duckdb.DuckDBPyConnection, feed: str, column: str, known_feed: str, known_column: str
) -> pl.DataFrame:
    """The values of a feed's column that another feed's does not hold: file, line, value."""
    value = identifier(column)
    return query_frame(
        con,
        f"select source_file as file, source_line as line, {value} as value "
        f"from {identifier(feed)} as named anti join {identifier(known_feed)} as known "
        f"on named.{value} = known.{identifier(known_column)} where named.{value} is not null",
    )


def is_set_aside(con: duckdb.DuckDBPyConnection, feed: str, file: str, line: int) -> bool:
    """Whether a line of a feed's file is set aside, by itself or with its whole file."""
    rows = query_frame(
        con,
        "select 1 from set_aside where feed = ? and file = ? and line = ? union all "
        "select 1 from row_accounts where feed = ? and file = ? and set_aside = rows_read "
        "and set_aside > 0",
        [feed, file, line, feed, file],
    )
    return not rows.is_empty()


def failed_night_checks(con: duckdb.DuckDBPyConnection, check: str) -> list[str]:
    """The sentences of a check of the night that did not pass."""
    failed = query_frame(
        con, 'select sentence from night_checks where "check" = ? and not passed', [check]
    )
    return failed["sentence"].to_list()


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


def last_event_seen(con: duckdb.DuckDBPyConnection) -> int:
    """The last event of the desk that the published store has read; 0 without one."""
    if not has_table(con, f"{LAST}.register_seen"):
        return 0
    seen = query_frame(con, f"select max(last_event) as event from {LAST}.register_seen")
    return int(seen["event"].item() or 0)


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
