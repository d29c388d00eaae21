"""Figure 9: what failures cost, line by line and a unit-year, and how agencies' hours compare.

Belongs here: sums of what is payable over the failures inside the watch, and the funnel of labor
hours. Does not belong here: what is payable for a claim (`pipelines.coverage.money`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, UNKNOWN, FieldContext, episodes
from pipelines.field.funnel import q_values
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95
from pipelines.field.rates import grid
from pipelines.field.slices import (
    ALL,
    NO_FAILURES,
    NOTHING_WATCHED,
    Slice,
    labelled,
    thin,
)
from schemas.columns import CENTS

LINES = ("parts", "labor", "travel")
COLUMNS = (*LINES, "total", "unit_years", "cost_per_unit_year", "cause", "agency")
RECORDED = ("cause", "agency")
AGENCY_COLUMNS = (
    "agency",
    "calls",
    "labor_hours",
    "expected_hours",
    "ratio",
    "low",
    "high",
    "p_value",
    "q_value",
    "flagged",
    "thin",
    "note",
)
_FEWEST_CALLS = 5
_FALSE_DISCOVERY_RATE = 0.10


def costs(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Payable by line for one slice; exact money, and the cost of a unit-year.

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
    named = replace(context, failures=context.failures.with_columns(word))
    every = named.failures.select(FLEET, record).unique()
    table = _paid(named, episodes(named), every, [FLEET], [FLEET, record])
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
    paid = context.failures.group_by(keys).agg(
        pl.col(LINES).sum(), failures=pl.len().cast(pl.Int64)
    )
    some = pl.col("unit_years") > 0
    return (
        every.join(years, on=groups, how="left")
        .join(paid, on=keys, how="left")
        .with_columns(
            pl.col(LINES).fill_null(0).cast(CENTS),
            pl.col("unit_years").fill_null(0.0),
            pl.col("failures", "units").fill_null(0),
        )
        .with_columns(total=pl.sum_horizontal(LINES).cast(CENTS))
        .with_columns(
            cost_per_unit_year=pl.when(some).then(
                pl.col("total").cast(pl.Float64) / pl.col("unit_years")
            ),
            thin=thin(),
            note=pl.when(~some).then(pl.lit(NOTHING_WATCHED)),
        )
    )


def agency_labor(context: FieldContext) -> pl.DataFrame:
    """Labor hours of each agency against what the others take for the same causes.

    Expected hours are the mean hours of all other agencies' calls for each cause, summed over the
    agency's calls; causes that no other agency has repaired are left out. The limits are those of
    a funnel around 1: the spread of hours within causes, over the agency's calls. A reason to ask,
    not a verdict.
    """
    calls = context.failures.filter(
        pl.col("agency").is_not_null()
        & pl.col("labor_hours").is_not_null()
        & pl.col("cause").is_not_null()
    ).select("agency", "cause", hours=pl.col("labor_hours").cast(pl.Float64))
    by_cause = calls.group_by("cause").agg(
        n=pl.len(),
        sum=pl.col("hours").sum(),
        mean=pl.col("hours").mean(),
        var=pl.col("hours").var().fill_null(0.0),
    )
    own = calls.group_by("agency", "cause").agg(own_n=pl.len(), own_sum=pl.col("hours").sum())
    compared = (
        own.join(by_cause, on="cause")
        .filter(pl.col("n") > pl.col("own_n"))
        .with_columns(peers=(pl.col("sum") - pl.col("own_sum")) / (pl.col("n") - pl.col("own_n")))
        .group_by("agency")
        .agg(
            calls=pl.col("own_n").sum().cast(pl.Int64),
            labor_hours=pl.col("own_sum").sum(),
            expected_hours=(pl.col("own_n") * pl.col("peers")).sum(),
            variance=(pl.col("own_n") * pl.col("var")).sum(),
        )
        .sort("agency")
    )
    return _funnel_of_hours(compared).select(AGENCY_COLUMNS)


def _funnel_of_hours(table: pl.DataFrame) -> pl.DataFrame:
    from scipy.stats import norm

    expected = table["expected_hours"].to_numpy()
    spread = np.sqrt(table["variance"].to_numpy())
    usable = (expected > 0) & (spread > 0)
    ratio = np.divide(
        table["labor_hours"].to_numpy(),
        expected,
        out=np.full(len(expected), np.nan),
        where=expected > 0,
    )
    width = np.divide(Z_95 * spread, expected, out=np.full(len(expected), np.nan), where=usable)
    p = np.full(len(expected), np.nan)
    p[usable] = 2 * norm.sf(np.abs(ratio[usable] - 1) * expected[usable] / spread[usable])
    q = np.full(len(expected), np.nan)
    q[usable] = q_values(p[usable])
    is_thin = pl.col("calls") < _FEWEST_CALLS
    return table.with_columns(
        ratio=pl.Series(ratio, nan_to_null=True),
        low=pl.Series(np.maximum(1 - width, 0), nan_to_null=True),
        high=pl.Series(1 + width, nan_to_null=True),
        p_value=pl.Series(p, nan_to_null=True),
        q_value=pl.Series(q, nan_to_null=True),
        thin=is_thin,
        note=pl.when(pl.Series(~usable)).then(pl.lit(NO_FAILURES + " to compare with")),
    ).with_columns(
        flagged=((pl.col("q_value") < _FALSE_DISCOVERY_RATE) & ~is_thin).fill_null(False)
    )
