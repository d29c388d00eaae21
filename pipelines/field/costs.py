"""Figure 9: what failures cost, line by line and a unit-year.

Belongs here: sums of what is payable over the failures inside the exposure. Does not belong here:
what is payable for a claim (`pipelines.coverage.money`), how agencies compare (`agencies`).
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipelines.field.context import FLEET, UNKNOWN, FieldContext
from pipelines.field.episodes import episodes
from pipelines.field.pending import waiting, weighted
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rates import grid
from pipelines.field.slices import ALL, NO_EXPOSURE, Slice, labelled, thin
from schemas.columns import CENTS

LINES = ("parts", "labor", "travel")
WAITS = ("pending", "pending_low", "pending_high")
COLUMNS = (
    *LINES,
    "total",
    *WAITS,
    "pending_claims",
    "unit_years",
    "cost_per_unit_year",
    "cause",
    "agency",
)
RECORDED = ("cause", "agency")


def costs(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Payable by line for one slice; exact money, and the cost of a unit-year.

    Beside it what claims that wait would pay if covered, times the share of such claims that came
    to be covered.

    A slice by cause class parts the costs only: unit-years stay everyone's.
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    exposed = episodes(context, by_state="treatment" in dims)
    table = _paid(context, exposed, grid(context, dims), groups, [FLEET, *dims])
    table = table.with_columns(pl.lit(ALL).alias(name) for name in RECORDED)
    return labelled(table.sort(FLEET, *dims), dims, COLUMNS)


def costs_by(context: FieldContext, record: str) -> pl.DataFrame:
    """The same by `cause` or by `agency` as recorded on the call; unit-years stay everyone's."""
    word = pl.col(record).fill_null(UNKNOWN)
    by_record = replace(context, failures=context.failures.with_columns(word))
    every = by_record.failures.select(FLEET, record).unique()
    table = _paid(by_record, episodes(by_record), every, [FLEET], [FLEET, record])
    other = [name for name in RECORDED if name != record]
    table = table.with_columns(pl.lit(ALL).alias(name) for name in other)
    rows = labelled(table.sort(record), (), COLUMNS)
    return rows.with_columns(by=pl.lit(record))


def _paid(
    context: FieldContext,
    exposed: pl.DataFrame,
    every: pl.DataFrame,
    groups: list[str],
    keys: list[str],
) -> pl.DataFrame:
    """Money, unit-years, thin and note of every group of `keys`; `groups` are those of units."""
    years = exposed.group_by(groups).agg(
        units=pl.col("unit").n_unique(), unit_years=pl.col("days").sum() / DAYS_PER_YEAR
    )
    bounds = {"pending": "share", "pending_low": "low", "pending_high": "high"}
    failures = context.failures.with_columns(
        waiting(context).alias("pending_claims"),
        **{name: weighted(context, bound) for name, bound in bounds.items()},
    )
    paid = failures.group_by(keys).agg(
        pl.col(LINES).sum(),
        *(pl.col(name).sum().round(2, mode="half_away_from_zero") for name in WAITS),
        pl.col("pending_claims").sum().cast(pl.Int64),
        failures=pl.len().cast(pl.Int64),
    )
    some = pl.col("unit_years") > 0
    return (
        every.join(years, on=groups, how="left")
        .join(paid, on=keys, how="left")
        .with_columns(
            pl.col(LINES).fill_null(0).cast(CENTS),
            pl.col(WAITS).fill_null(0.0).cast(CENTS),
            pl.col("pending_claims").fill_null(0),
            pl.col("unit_years").fill_null(0.0),
            pl.col("failures", "units").fill_null(0),
        )
        .with_columns(total=pl.sum_horizontal(LINES).cast(CENTS))
        .with_columns(
            cost_per_unit_year=pl.when(some).then(
                pl.col("total").cast(pl.Float64) / pl.col("unit_years")
            ),
            thin=thin(),
            note=pl.when(~some).then(pl.lit(NO_EXPOSURE)),
        )
    )
