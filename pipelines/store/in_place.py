"""Puts a small frame in the place of a table, which stays the same table with its comments.

Belongs here: exchanging the rows alone where the columns are as they were, or the whole table.
Does not belong here: writing a large one beside the old (`pipelines.store.table_writer`).

A table that is made anew lacks its comments, one statement for each column of it: in a small
refresh these took as long as all the rows.
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.store.contents import Columns, columns_of
from pipelines.store.database import drop_table, identifier
from pipelines.store.frames_for_sql import registered

# The columns that DuckDB makes of a frame's, by the frame's: asked once each in a process.
_MADE_OF: dict[tuple[tuple[str, pl.DataType], ...], Columns] = {}


def put_frame(con: duckdb.DuckDBPyConnection, name: str, frame: pl.DataFrame) -> None:
    """Puts a frame's rows in the place of a table's; belongs into a transaction."""
    known = tuple(frame.schema.items())
    standing = columns_of(con, name)
    if frame.is_empty() and standing and standing == _MADE_OF.get(known):
        con.execute(f"truncate {identifier(name)}")
        return
    with registered(con, frame) as source:
        if known not in _MADE_OF:
            _MADE_OF[known] = columns_of(con, source)
        if standing == _MADE_OF[known]:
            con.execute(f"truncate {identifier(name)}")
            con.execute(f"insert into {identifier(name)} select * from {source}")
        else:
            con.execute(f"create or replace table {identifier(name)} as select * from {source}")


def put_rows(con: duckdb.DuckDBPyConnection, name: str, of: str) -> None:
    """Puts the rows of another table, which goes, in the place of a table's, in a transaction."""
    standing = columns_of(con, name)
    if standing and standing == columns_of(con, of):
        con.execute(f"truncate {identifier(name)}")
        con.execute(f"insert into {identifier(name)} select * from {identifier(of)}")
        con.execute(f"drop table {identifier(of)}")
    else:
        replace_table(con, of, name)


def replace_table(con: duckdb.DuckDBPyConnection, name: str, instead_of: str) -> None:
    """Puts a table in the place of another, which is removed where it is there."""
    drop_table(con, instead_of)
    con.execute(f"alter table {identifier(name)} rename to {identifier(instead_of)}")
