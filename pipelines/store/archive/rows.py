"""The records that the archive keeps: those that a claim rested on, and those that left.

Belongs here: the SQL that finds them. Does not belong here: what stands for a record
(`pipelines.store.row_hashes`), or since when it is known (`pipelines.store.arrivals`).
"""

from __future__ import annotations

import datetime as dt

import duckdb

from pipelines.store.considered import ROWS
from pipelines.store.database import LAST, drop_table, has_table, one_row
from pipelines.store.row_hashes import row_sha256, rows_as_archived, same_content, same_key
from schemas.codes import FEEDS


def add_rows(con: duckdb.DuckDBPyConnection) -> None:
    """Records that a claim now rests on and that the archive does not hold yet."""
    con.execute(
        "insert into archived_rows by name select r.row_sha256, r.feed, r.key, r.file, r.line, "
        "f.sha256 as file_sha256, r.values, r.arrived_on "
        f"from (select distinct on (row_sha256) * from {ROWS}) r "
        "left join export_files f on f.file = r.file "
        "anti join archived_rows a on a.row_sha256 = r.row_sha256 order by r.feed, r.row_sha256"
    )


def archive_arrivals(con: duckdb.DuckDBPyConnection, today: dt.date) -> None:
    """Puts down which records left since the last publication, and which of them came back.

    A record that left is kept also where no claim rested on it, so that it is known again.
    """
    keeps_rows = _keeps_rows(con)
    for feed in FEEDS:
        before = f"{LAST}.{feed}"
        if not has_table(con, feed):
            continue
        if has_table(con, before) and _has_arrivals(con, before):
            same = f"{same_key(feed, 'o', 'n')} and {same_content(feed, 'o', 'n')}"
            left = f"(select o.* from {before} o anti join {feed} n on {same})"
            came = f"(select n.* from {feed} n anti join {before} o on {same})"
            con.execute("create or replace temp table rows_left as " + rows_as_archived(feed, left))
            con.execute(
                "create or replace temp table rows_came as select "
                f"{row_sha256(feed)} as row_sha256 from {came}"
            )
        elif not keeps_rows:
            continue  # all that the archive has came with this run
        else:
            con.execute(
                "create or replace temp table rows_came as select "
                f"{row_sha256(feed)} as row_sha256 from {feed}"
            )
            con.execute(
                "create or replace temp table rows_left as select row_sha256, feed, key, file, "
                "line, values, arrived_on from archived_rows anti join rows_came using (row_sha256)"
                f" where feed = '{feed}' and left_on is null"
            )
        _put_left(con, today)
    drop_table(con, "rows_left")
    drop_table(con, "rows_came")


def _put_left(con: duckdb.DuckDBPyConnection, today: dt.date) -> None:
    con.execute(
        "update archived_rows a set left_on = null from rows_came c "
        "where a.row_sha256 = c.row_sha256 and a.left_on is not null"
    )
    con.execute(
        "update archived_rows a set left_on = ? from rows_left l "
        "where a.row_sha256 = l.row_sha256 and a.left_on is null",
        [today],
    )
    files = (
        f"left join {LAST}.export_files f on f.file = l.file"
        if has_table(con, f"{LAST}.export_files")
        else "left join (select null as file, null as sha256) f on f.file = l.file"
    )
    con.execute(
        "insert into archived_rows by name select l.*, f.sha256 as file_sha256, ? as left_on "
        f"from rows_left l {files} anti join archived_rows a on a.row_sha256 = l.row_sha256",
        [today],
    )


def _has_arrivals(con: duckdb.DuckDBPyConnection, table: str) -> bool:
    columns = con.execute(f"select * from {table} limit 0").description
    return "arrived_on" in [column[0] for column in columns]


def _keeps_rows(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether the published store's archive has any record."""
    if not has_table(con, f"{LAST}.archived_rows"):
        return False
    return one_row(con, f"select 1 from {LAST}.archived_rows limit 1") is not None
