"""The days watched, split by calendar month, age band and water of the day, summed up once.

Belongs here: that sum, which early warning and forecasts share. Does not belong here: failures,
what is estimated from it.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pipelines.field.calendar_months import months_between
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import split_bands, split_months

CELLS = ("family", "needs", "age", "month")


def monthly_days(context: FieldContext) -> pl.DataFrame:
    """family, needs (of the water of the day), age (the band), month (its first day), days."""
    return context.once("monthly days", lambda: _monthly_days(context))


def _monthly_days(context: FieldContext) -> pl.DataFrame:
    split = split_months(split_bands(context.spans.drop("last", strict=False)))
    families = context.units.select("unit", "family")
    return (
        split.select(
            "unit",
            "needs",
            "age",
            month=pl.col("from_on").dt.truncate("1mo"),
            days=pl.col("exit") - pl.col("entry"),
        )
        .join(families, on="unit")
        .group_by(CELLS)
        .agg(pl.col("days").sum())
        .sort(CELLS)
    )


def complete_months(context: FieldContext) -> list[date]:
    """First days of the complete months of the exposure, and the one that closes the last.

    Where none is complete, those of the month of the as-of date and the next one.
    """
    first: date = context.units.select(pl.col("watched_from").min()).item() or context.as_of
    months = months_between(first, context.as_of + timedelta(days=1))
    if len(months) > 1:
        return months
    return months_between(context.as_of, context.as_of.replace(day=1) + timedelta(days=31))
