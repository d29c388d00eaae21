"""The join report of the records: which columns find what they name, and what finds nothing.

Belongs here: reading both sides and writing the tables. Does not belong here: the counts and causes
(`pipelines.records.joins`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence

import polars as pl

from pipelines.records.joins import JOINS, Bar, Join, join_report, naming_rows
from pipelines.steps.join_attention import below
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Check, Step, Written
from pipelines.store.database import read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.transaction import RefreshSession
from schemas.accounts import JOIN_TABLES, JoinMisses, Joins
from schemas.codes import FEEDS

Columns = Callable[[str, Sequence[str]], pl.DataFrame]


def report_of(
    inputs: Inputs, columns_of: Columns, set_aside: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The tables `joins` and `join_misses`.

    Args:
        inputs: the workspace.
        columns_of: reads some columns of a feed's records.
        set_aside: the table `set_aside`.
    """

    def rows_of(join: Join) -> pl.DataFrame:
        records = columns_of(join.feed, [join.column, "source_file", "source_line"])
        return naming_rows(join, records, set_aside.filter(pl.col("feed") == join.feed))

    def known(join: Join) -> pl.Series:
        if join.other in FEEDS:
            return columns_of(join.other, [join.other_column])[join.other_column]
        frame: pl.DataFrame = getattr(inputs.reference, join.other)
        return frame[join.other_column]

    settings = inputs.settings
    bar = Bar(settings.join_min_share, settings.join_min_rows, settings.join_shares)
    return join_report(rows_of, known, bar)


def join_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Reports on all joins."""
    con = session.con
    joins, misses = report_of(
        session.inputs,
        lambda feed, columns: read_frame(con, feed, columns=list(columns)),
        read_frame(con, "set_aside"),
    )
    session.put(
        session.write("joins", joins, Joins), session.write("join_misses", misses, JoinMisses)
    )
    yield from (Written(name) for name in STEP.tables if name in wanted)


STEP = Step(
    name="join_report",
    group="exports",
    title="Joins between feeds and reference files",
    tables=JOIN_TABLES,
    reads=(
        *dict.fromkeys([*(join.feed for join in JOINS), "units", "service_calls"]),
        "set_aside",
        "row_accounts",
        *REFERENCE_ASSETS,
    ),
    sources=("settings",),
    work=join_tables,
    rooms=("pipelines/records", "pipelines/steps/joins.py"),
    about=dict.fromkeys(JOIN_TABLES, "It decides nothing; people read it."),
    checks=(
        Check("joins_match", "joins", "Every join matches as much as the settings ask.", below),
    ),
)
