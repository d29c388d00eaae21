"""Computes the field figures from the tables of the refresh.

Belongs here: putting the figures' context together from histories, records and decisions. Does
not belong here: any estimate (`pipelines.field`).
"""

from __future__ import annotations

import gc
from collections.abc import Collection, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace

import duckdb
import polars as pl

from pipelines.field import pending
from pipelines.field.agency_cases import CLAIM_COLUMNS, with_claims
from pipelines.field.context import FieldContext, Grounds
from pipelines.field.figures import BY_AGE, FIGURES, SENTENCES, always, always_by_age, known
from pipelines.field.preparation import prepare
from pipelines.startups.installation_spans import with_installation
from pipelines.steps.paged_claims import claim_pages
from pipelines.steps.step import Step, Written
from pipelines.steps.units import EXPOSURE, Watched, stored_exposure
from pipelines.store.database import read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.reference_reads import (
    cause_classes,
    families_needing_treatment,
    newest_limits,
    treatment_systems,
)
from pipelines.store.table_writer import HELD_ROWS, TableWriter
from pipelines.store.transaction import RefreshSession
from pipelines.water.limits import with_chloramine
from schemas import codes
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES

TOGETHER = 8  # so many small figures a kill may take away
MANY_UNITS = 5_000  # from so many on it pays to look for what nobody holds any more
PAYABLE = ("parts_payable", "labor_payable", "travel_payable")


def field_figures(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Estimates every figure in the slices that are always there."""
    exposure = stored_exposure(session.con)
    prepared = field_context(exposure, session.con, session.inputs)
    are_many = exposure.units.height >= MANY_UNITS
    del exposure  # it need not stand in memory beside the context
    waiting: list[TableWriter] = []
    for name, frame in figure_tables(prepared, wanted):
        if name in wanted:
            waiting.append(session.write(name, frame, FIELD_TABLES[name]))
            if frame.height > HELD_ROWS or len(waiting) == TOGETHER:
                yield from _put(session, waiting)
    yield from _put(session, waiting)
    del prepared, waiting
    # What a context keeps for several figures refers to the context, so that counting references
    # lets go of neither: of 100,000 units a gigabyte, which would be there until the end. Of a few
    # it is little, and looking took a fifteenth of their refresh.
    if are_many:
        gc.collect()


def _put(session: RefreshSession, waiting: list[TableWriter]) -> Iterator[Written]:
    """Puts figures in their place in one transaction, which costs as much as a small figure."""
    made, waiting[:] = list(waiting), []
    if made:
        session.put(*made)
    yield from (Written(writer.name) for writer in made)


def field_context(
    watched: Watched,
    con: duckdb.DuckDBPyConnection,
    inputs: Inputs,
    decided: pl.DataFrame | None = None,
) -> FieldContext:
    """What all figures are computed from.

    Args:
        watched: of all units.
        con: the store, whose `decisions` give verdicts and what is payable.
        inputs: of the run, for its as-of day and what people did.
        decided: decisions in the place of the store's.
    """
    columns = list(dict.fromkeys(["claim", *CLAIM_COLUMNS, *PAYABLE, *pending.COLUMNS]))
    if decided is None:
        decided = read_frame(con, "decisions", columns=columns)
    history = read_frame(
        con, "decision_history", columns=["claim", "from_verdict", "to_verdict", "moved_from_to"]
    )
    reviews = read_frame(
        con, "startup_reviews", columns=["serial", "report", "completed_on", "result"]
    )
    context = prepare(
        watched.units,
        watched.failures,
        decided,
        watched.states,
        watched.doubtful,
        inputs.as_of,
        watched.waters,
        with_installation(watched.spans, reviews),
        grounds_of(con, inputs),
    )
    context = pending.with_pending(context, decided, history)
    return replace(context, repairs=with_claims(watched.repairs, decided))


def grounds_of(con: duckdb.DuckDBPyConnection, inputs: Inputs) -> Grounds:
    """What the figures ask of reference files, terms, water tests and pages."""
    return Grounds(
        causes=cause_classes(con),
        limits=newest_limits(con),
        needing=families_needing_treatment(con),
        systems=treatment_systems(con),
        samples=with_chloramine(
            read_frame(con, "water_tests", columns=["sample", *_values_of_samples()])
        ),
        pages=claim_pages(inputs, con),
        arrived_calls=_arrived(con, "service_calls", "call"),
        arrived_units=_arrived(con, "units", "serial"),
    )


def _arrived(con: duckdb.DuckDBPyConnection, table: str, key: str) -> pl.DataFrame:
    """On which day each record was first read, where that was kept."""
    rows = read_frame(con, table, columns=[key, "first_arrived_on"])
    return rows.select(key, arrived_on="first_arrived_on").drop_nulls().unique(key)


def _values_of_samples() -> list[str]:
    return [name for analyte in codes.ANALYTES for name in (analyte, f"{analyte}_below")]


def figure_tables(
    context: FieldContext, wanted: Collection[str] = tuple(FIGURES)
) -> Iterator[tuple[str, pl.DataFrame]]:
    """The wanted figures with the slices that are always there, by exactly their classes' columns.

    One after the other: two threads at a time took a tenth more of CPU and saved no time by the
    clock, since most of the work holds the interpreter.
    """
    by_age = [name for name in BY_AGE if name in wanted]
    # Sentences come last: they speak of the others.
    alone = [name for name in FIGURES if name in wanted and name not in (*BY_AGE, SENTENCES)]
    with one_thread_a_matrix():
        tables = always_by_age(context, *by_age) if by_age else {}
        yield from ((name, _shaped(name, table)) for name, table in tables.items())
        for name in alone:
            yield name, _shaped(name, known(context, name))
        if SENTENCES in wanted:
            yield SENTENCES, _shaped(SENTENCES, always(context, SENTENCES))


def _shaped(name: str, table: pl.DataFrame) -> pl.DataFrame:
    return shaped(table, polars_schema(FIELD_TABLES[name]))


def one_thread_a_matrix() -> AbstractContextManager[object]:
    """Linear algebra on one thread: on matrices as small as ours, more of them only wait."""
    import scipy.linalg  # noqa: F401 - its library can be told so once it is loaded
    from threadpoolctl import threadpool_limits

    limits: AbstractContextManager[object] = threadpool_limits(limits=1, user_api="blas")
    return limits


def shaped(frame: pl.DataFrame, schema: pl.Schema) -> pl.DataFrame:
    """A figure with exactly the columns and types of its table class, in their order."""
    return frame.select(pl.col(name).cast(kind) for name, kind in schema.items())


STEP = Step(
    name="field_figures",
    group="field",
    title="Field figures",
    tables={name: FIELD_TABLES[name] for name in FIGURES},
    reads=(
        "decisions",
        "decision_history",
        "payments",
        "service_calls",
        "units",
        "startup_reviews",
        "water_tests",
        "reference_causes",
        "reference_models",
        "reference_treatments",
        "terms_values",
        "terms_water_limits",
        *EXPOSURE,
    ),
    work=field_figures,
    rooms=(
        "pipelines/field",
        "pipelines/startups",
        "pipelines/steps/figures.py",
        "pipelines/steps/desk_pages.py",
        "pipelines/steps/paged_claims.py",
    ),
)
