"""Puts the rows of one table among those of another, or in order, a range of keys at a time.

Belongs here: the merge and the sort. Does not belong here: which rows are carried over
(`pipelines.store.table_writer`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import duckdb
import polars as pl

from pipelines.store.database import drop_table, identifier, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.in_place import replace_table

MERGED_KEYS = 50_000


def merge_table(
    con: duckdb.DuckDBPyConnection,
    name: str,
    other: str,
    keys: pl.DataFrame,
    order: Sequence[str],
) -> None:
    """Adds the rows of another table that have one of the keys, so that all stand in `order`.

    Both tables are in that order, whose first column is that of the keys, and `name` has none of
    them. It is done in ranges of keys, so that no sort outgrows the memory.
    """
    key, merged = keys.columns[0], f"{name}_merged"
    column, columns = identifier(key), ", ".join(identifier(one) for one in order)
    drop_table(con, merged)
    con.execute(f"create table {identifier(merged)} as from {identifier(name)} limit 0")
    within = f"(? is null or {column} >= ?) and (? is null or {column} < ?)"
    for limits in _ranges(keys[key]):
        with registered(con, keys) as wanted:
            con.execute(
                f"insert into {identifier(merged)} by name from ("
                f"select * from {identifier(other)} semi join {wanted} using ({column}) "
                f"where {within} union all by name "
                f"select * from {identifier(name)} where {within}) order by {columns}",
                [*limits, *limits],
            )
    replace_table(con, merged, name)


def sort_table(con: duckdb.DuckDBPyConnection, name: str, order: Sequence[str]) -> None:
    """Puts the rows of a table in `order`."""
    ordered = f"{name}_ordered"
    drop_table(con, ordered)
    con.execute(f"create table {identifier(ordered)} as from {identifier(name)} limit 0")
    insert_in_order(con, name, ordered, order)
    replace_table(con, ordered, name)


def insert_in_order(
    con: duckdb.DuckDBPyConnection, name: str, target: str, order: Sequence[str]
) -> None:
    """Adds the rows of a table to another of its columns, in `order`: a range of its first column
    at a time, so that no sort outgrows the memory; where that is null, last."""
    column, columns = identifier(order[0]), ", ".join(identifier(one) for one in order)
    keys = query_frame(con, f"select distinct {column} from {identifier(name)}").to_series()
    for low, _, high, _ in _ranges(keys.drop_nulls()):
        con.execute(
            f"insert into {identifier(target)} select * from {identifier(name)} "
            f"where (? is null or {column} >= ?) and (? is null or {column} < ?) "
            f"or {column} is null and ? is null order by {columns}",
            [low, low, high, high, high],
        )


def _ranges(keys: pl.Series) -> Iterator[list[Any]]:
    """The limits of each range of keys, lower and upper, each twice; null where it is open."""
    bounds = [None, *keys.sort().gather_every(MERGED_KEYS)[1:], None]
    for low, high in pairwise(bounds):
        yield [low, low, high, high]
