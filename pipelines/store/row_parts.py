"""The typed rows of a feed in parts, so that none of its records rests on rows of two.

Belongs here: which rows make a part, and reading it. Does not belong here: what becomes of the rows
(`pipelines.records.settling`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import duckdb
import polars as pl

from pipelines.store.database import identifier, one_row, query_frame
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES

ROWS_A_PART = 1_000_000


def number_of_row_parts(con: duckdb.DuckDBPyConnection, feed: str, requested: int = 0) -> int:
    """How many parts the rows of a feed make: those asked for, or one for each `ROWS_A_PART`."""
    rows = one_row(con, f"select count(*) from {identifier(f'parsed_{feed}')}")
    return requested or max(1, -(-(rows[0] if rows else 0) // ROWS_A_PART))


def row_parts(
    con: duckdb.DuckDBPyConnection, feed: str, count: int, columns: Sequence[str] | None = None
) -> Iterator[pl.DataFrame]:
    """The rows of `parsed_<feed>`, part by part, each of whole keys; `columns`: those alone.

    Calls that share a claim number, which one of them may hold, are all in the first part.
    """
    table, key = identifier(f"parsed_{feed}"), identifier(key_columns(FEED_TABLES[feed])[0])
    chosen = ", ".join(map(identifier, columns)) if columns is not None else "*"
    if count == 1:
        yield query_frame(con, f"select {chosen} from {table}")
        return
    part = f"hash({key}) % {int(count)}"
    if feed == "service_calls":
        con.execute(
            f"create or replace temp table calls_of_shared_claims as select distinct {key} "
            f"from {table} where claim in (select claim from {table} where claim is not null "
            f"group by claim having count(distinct {key}) > 1)"
        )
        shared = f"{key} in (select {key} from calls_of_shared_claims)"
        part = f"case when {shared} then 0 else {part} end"
    for number in range(count):
        yield query_frame(con, f"select {chosen} from {table} where {part} = ?", [number])
