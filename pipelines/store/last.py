"""The published store as a run finds it: what was decided before, to read and never to change.

Belongs here: reading its tables, and whether what rests on them can be carried over. Does not
belong here: what then need not be worked out again (`pipelines.store.invalidation`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, identifier, one_row, query_frame, read_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.published_state import PublishedState, disagreement, state_of
from pipelines.store.states import RunState
from schemas.columns import Table, polars_schema


@dataclass(frozen=True)
class Last:
    """What the published store says of itself when a run begins.

    `state` is None where there is no store, or one whose tables are not what it says they are.
    `latest_as_of` is the latest day as of which anything was ever decided.
    """

    state: PublishedState | None
    through: dict[str, dt.date | None]
    latest_as_of: dt.date | None = None

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection) -> Last:
        """Of the store that is attached to a working copy."""
        if disagreement(con, last=True):
            return cls(None, {})
        states = read_frame(con, f"{LAST}.feed_states", columns=["feed", "through_date"])
        through = dict(states.iter_rows())
        latest = None
        if has_table(con, f"{LAST}.decision_history"):
            latest = one_row(con, f"select max(as_of) from {LAST}.decision_history")
        return cls(state_of(con, last=True), through, latest[0] if latest else None)

    def can_stand(self, now: RunState) -> bool:
        """Whether anything can stand: same code and inputs, and no look back in time.

        Behind the latest day that was ever decided, documents are due from the day of each run.
        """
        before = self.state
        return (
            before is not None
            and before.tool == now.tool
            and (before.mappings, before.reference, before.terms, before.settings)
            == (now.mappings, now.reference, now.terms, now.settings)
            and before.as_of <= now.as_of
            and (self.latest_as_of is None or self.latest_as_of <= now.as_of)
        )


def moment_of_its_own(con: duckdb.DuckDBPyConnection, moment: dt.datetime) -> dt.datetime:
    """The moment, or where the history has it already the next that is free.

    A clock that is given stands still, and every publication is one of its own all the same.
    """
    if not has_table(con, f"{LAST}.decision_history"):
        return moment
    row = one_row(
        con,
        f"select max(decided_at) from {LAST}.decision_history where decided_at between ? and ?",
        [moment, moment + dt.timedelta(seconds=1)],
    )
    taken: dt.datetime | None = row[0] if row else None
    return moment if taken is None else taken + dt.timedelta(microseconds=1)


def last_rows(
    con: duckdb.DuckDBPyConnection,
    name: str,
    table: type[Table],
    claims: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """A table of the published store in today's columns; those that it lacks, or has as lists
    of something else, are null.

    Args:
        claims: only the rows of these claims (claim); None for all rows.
    """
    schema = polars_schema(table)
    source = f"{LAST}.{name}"
    if not has_table(con, source):
        return schema.to_frame()
    if claims is None:
        frame = read_frame(con, source)
    else:
        with registered(con, claims.select("claim")) as wanted:
            frame = query_frame(
                con, f"select * from {identifier(source)} semi join {wanted} using (claim)"
            )
    of_another_kind = [
        column
        for column, kind in schema.items()
        if kind.is_nested() and frame.schema.get(column, kind) != kind
    ]
    frame = frame.drop(of_another_kind)
    lacking = [pl.lit(None).alias(column) for column in schema if column not in frame.columns]
    return frame.with_columns(lacking).select(schema.names()).cast(schema)
