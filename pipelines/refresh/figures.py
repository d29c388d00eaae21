"""Computes the field figures from the tables of the refresh.

Belongs here: putting the figures' context together from histories, records and decisions. Does
not belong here: any estimate (`pipelines.field`).
"""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.field.context import FieldContext, prepare
from pipelines.field.figures import FIGURES, always
from pipelines.histories.unit_histories import Histories, disputed_duplicates
from pipelines.histories.watch import doubtful_exposure, failures_inside
from pipelines.warehouse.database import read_frame
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES


def field_context(
    evidence: Evidence, histories: Histories, con: duckdb.DuckDBPyConnection
) -> FieldContext:
    """What all figures are computed from.

    Args:
        evidence: what is seen as of its as-of date.
        histories: of all units.
        con: the store, whose `decisions` give what is payable.
    """
    duplicates = disputed_duplicates(evidence, histories)
    units = histories.units
    payable = read_frame(
        con, "decisions", columns=["claim", "parts_payable", "labor_payable", "travel_payable"]
    )
    return prepare(
        units,
        failures_inside(units, evidence.service_calls, evidence.causes, duplicates),
        payable,
        histories.states,
        doubtful_exposure(
            evidence.units, units, evidence.service_calls, duplicates, evidence.as_of
        ),
        evidence.as_of,
    )


def figure_tables(context: FieldContext) -> Iterator[tuple[str, pl.DataFrame]]:
    """Every figure with the slices that are always there, by exactly its class's columns."""
    for name in FIGURES:
        yield name, shaped(always(context, name), polars_schema(FIELD_TABLES[name]))


def shaped(frame: pl.DataFrame, schema: pl.Schema) -> pl.DataFrame:
    """A figure with exactly the columns and types of its table class, in their order."""
    return frame.select(pl.col(name).cast(kind) for name, kind in schema.items())
