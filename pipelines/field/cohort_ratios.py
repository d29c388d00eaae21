"""Figure 5, whether it is getting better: each quarter's failures against what all quarters lead
to expect.

Belongs here: indirect standardization of quarters of entry. Does not belong here: their curves
(`cohorts`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import failure_values
from pipelines.field.funnel import q_values
from pipelines.field.happened import of_event
from pipelines.field.laws import poisson_above, poisson_up_to
from pipelines.field.poisson import DAYS_PER_YEAR, garwood_limits
from pipelines.field.slice_rates import days_by
from pipelines.field.slices import ALL, LABELS, thin
from schemas import codes

COLUMNS = ("cohort", "event", "failures", "expected", "ratio", "low", "high", "p_value", "q_value")
_CELLS = ("family", "age")


def cohort_ratios(context: FieldContext) -> pl.DataFrame:
    """Observed over expected at the rates of all quarters by family and age band.

    Exact Poisson limits of the count; p is that of so far a count (twice the smaller tail), q
    Benjamini and Hochberg's over the quarters that are not thin, each event apart.
    """
    parts = [_of_event(context, event) for event in codes.EVENTS]
    labels = {"by": pl.lit("entry"), **{name: pl.lit(ALL) for name in LABELS[1:]}}
    return pl.concat(parts).select(
        *(word.alias(name) for name, word in labels.items()), *COLUMNS, "thin", "note"
    )


def standardized(
    days: pl.DataFrame, failed: pl.DataFrame, group: str, cells: tuple[str, ...]
) -> pl.DataFrame:
    """Failures and those expected at the rates of all groups by cell.

    Args:
        days: unit, `group`, `cells`, days; failed: the same, one row a failure.

    Returns:
        `group`, units, unit_years, failures, expected; sorted by group.
    """
    by_cell = days.group_by(cells).agg(all_days=pl.col("days").sum())
    happened = failed.group_by(cells).agg(n=pl.len())
    rate = by_cell.join(happened, on=cells, how="left").select(
        *cells, rate=pl.col("n").fill_null(0) / pl.col("all_days")
    )
    own = failed.group_by(group).agg(failures=pl.len().cast(pl.Int64))
    sizes = days.group_by(group).agg(units=pl.col("unit").n_unique().cast(pl.Int64))
    # Whole days first, then cell by cell in one order: the same inputs give the same last digit.
    expected = (
        days.group_by(group, *cells)
        .agg(pl.col("days").sum())
        .join(rate, on=cells)
        .sort(group, *cells)
        .group_by(group, maintain_order=True)
        .agg(
            unit_years=pl.col("days").sum() / DAYS_PER_YEAR,
            expected=(pl.col("days") * pl.col("rate")).sum(),
        )
        .join(sizes, on=group)
        .select(group, "units", "unit_years", "expected")
    )
    return (
        expected.join(own, on=group, how="left")
        .with_columns(pl.col("failures").fill_null(0))
        .sort(group)
    )


def with_ratios(table: pl.DataFrame) -> pl.DataFrame:
    """Adds ratio, low, high, p_value, q_value, thin and note to failures, units and expected."""
    count = table["failures"].to_numpy().astype(float)
    expected = table["expected"].to_numpy()
    usable = expected > 0
    low, high = garwood_limits(count)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio, low, high = (np.where(usable, x / expected, np.nan) for x in (count, low, high))
    tails = np.minimum(poisson_up_to(count, expected), poisson_above(count - 1, expected))
    p = np.where(usable, np.minimum(1.0, 2 * tails), np.nan)
    rated = table.with_columns(
        *(
            pl.Series(name, values, nan_to_null=True)
            for name, values in zip(
                ("ratio", "low", "high", "p_value"), (ratio, low, high, p), strict=True
            )
        ),
        thin=thin(),
        note=pl.when(pl.col("expected") <= 0).then(
            pl.lit("cannot be estimated, because no failure is to be expected")
        ),
    )
    ranked = (~rated["thin"] & rated["p_value"].is_not_null()).arg_true().to_numpy()
    q = np.full(rated.height, np.nan)
    q[ranked] = q_values(p[ranked])
    return rated.with_columns(q_value=pl.Series(q, nan_to_null=True))


def _of_event(context: FieldContext, event: str) -> pl.DataFrame:
    dims = ("entry", *_CELLS)
    failed = failure_values(context.failures.filter(of_event(event)), dims)
    table = standardized(days_by(context, dims), failed, "entry", _CELLS)
    return with_ratios(table).rename({"entry": "cohort"}).with_columns(event=pl.lit(event))
