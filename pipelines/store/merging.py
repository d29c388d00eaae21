"""Puts the rows of one table among those of another, a range of keys at a time.

Belongs here: the merge. Does not belong here: which rows are carried over
(`pipelines.store.table_writer`).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import duckdb
import polars as pl

from pipelines.store.database import drop_table, identifier, registered, replace_table

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
    ordered = keys[key].sort()
    bounds = [None, *ordered.gather_every(MERGED_KEYS)[1:], None]
    for low, high in pairwise(bounds):
        within = f"(? is null or {column} >= ?) and (? is null or {column} < ?)"
        limits = [low, low, high, high]
        with registered(con, keys) as wanted:
            con.execute(
                f"insert into {identifier(merged)} by name from ("
                f"select * from {identifier(other)} semi join {wanted} using ({column}) "
                f"where {within} union all by name "
                f"select * from {identifier(name)} where {within}) order by {columns}",
                [*limits, *limits],
            )
    replace_table(con, merged, name)
