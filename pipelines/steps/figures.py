"""Computes the field figures from the tables of the refresh.

Belongs here: putting the figures' context together from histories, records and decisions. Does
not belong here: any estimate (`pipelines.field`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path

import duckdb
import polars as pl

from pipelines.errors import UsageError
from pipelines.field.agency_cases import CLAIM_COLUMNS, with_claims
from pipelines.field.context import FieldContext, narrow, prepare
from pipelines.field.figures import BY_AGE, FIGURES, always, always_by_age
from pipelines.field.slices import ordered
from pipelines.steps.units import Watched, watched_units
from pipelines.store.database import one_row, read_frame
from pipelines.store.inputs import load_inputs
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES

PAYABLE = ("parts_payable", "labor_payable", "travel_payable")


def field_context(watched: Watched, con: duckdb.DuckDBPyConnection, as_of: dt.date) -> FieldContext:
    """What all figures are computed from.

    Args:
        watched: of all units.
        con: the store, whose `decisions` give verdicts and what is payable.
        as_of: the as-of date.
    """
    decided = read_frame(con, "decisions", columns=["claim", *CLAIM_COLUMNS, *PAYABLE])
    context = prepare(
        watched.units, watched.failures, decided, watched.states, watched.doubtful, as_of
    )
    return replace(context, repairs=with_claims(watched.repairs, decided))


def figure_tables(context: FieldContext) -> Iterator[tuple[str, pl.DataFrame]]:
    """Every figure with the slices that are always there, by exactly its class's columns.

    Two at a time: the work is numpy's and polars', and the figures do not depend on each other.
    """
    with _one_thread_a_matrix(), ThreadPoolExecutor(max_workers=2) as pool:
        jobs = [pool.submit(always_by_age, context, *BY_AGE)]
        jobs += [pool.submit(_alone, context, name) for name in FIGURES if name not in BY_AGE]
        for job in jobs:
            for name, table in job.result().items():
                yield name, shaped(table, polars_schema(FIELD_TABLES[name]))


def _alone(context: FieldContext, name: str) -> dict[str, pl.DataFrame]:
    return {name: always(context, name)}


def _one_thread_a_matrix() -> AbstractContextManager[object]:
    """Linear algebra on one thread: on matrices as small as ours, more of them only wait."""
    import scipy.linalg  # noqa: F401 - its library can be told so once it is loaded
    from threadpoolctl import threadpool_limits

    return threadpool_limits(limits=1, user_api="blas")


def shaped(frame: pl.DataFrame, schema: pl.Schema) -> pl.DataFrame:
    """A figure with exactly the columns and types of its table class, in their order."""
    return frame.select(pl.col(name).cast(kind) for name, kind in schema.items())


def figure_of_slice(
    folder: str | Path,
    figure: str,
    by: Sequence[str],
    *,
    family: str | None = None,
    cause_class: str | None = None,
    since: dt.date | None = None,
    until: dt.date | None = None,
) -> pl.DataFrame:
    """One figure for one slice, from the records of the last refresh and as of its day.

    Raises:
        UsageError: there is no such figure or dimension.
        WorkspaceError: nothing has been refreshed yet.
    """
    if figure not in FIGURES:
        raise UsageError(f'"{figure}" is no figure; choose one of {", ".join(FIGURES)}.')
    dims = ordered(by)
    workspace = Workspace.open(folder)
    with open_store(workspace) as con:
        as_of = one_row(con, "select value from store_facts where fact = 'as_of'")
        inputs = load_inputs(folder, as_of[0] if as_of else None)
        context = field_context(watched_units(inputs, con), con, inputs.as_of)
    narrowed = narrow(
        context,
        families=[family] if family else (),
        classes=[cause_class] if cause_class else (),
        since=since,
        until=until,
    )
    with _one_thread_a_matrix():
        return shaped(FIGURES[figure](narrowed, dims), polars_schema(FIELD_TABLES[figure]))
