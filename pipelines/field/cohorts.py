"""Figure 5: quarters of entry by months in service, completed for what is still to come in.

Belongs here: the table `cohorts`. Does not belong here: how long reports take (`reporting_lag`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext
from pipelines.field.rates import grid
from pipelines.field.reporting_lag import lag_law
from pipelines.field.risk_sets import MONTH_DAYS, MONTHS
from pipelines.field.slices import NO_EXPOSURE, Slice, labelled, thin

COLUMNS = (
    "cohort",
    "months",
    "units",
    "failures",
    "per_100",
    "completed_per_100",
    "completed_low",
    "completed_high",
    "immature",
)
MATURE_SHARE = 0.995  # from this share on a cell counts as complete
_LEAST_SHARE = 0.1  # of an age seen so far; less is no ground to complete from


def cohorts(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Failures per 100 units of each quarter of entry by whole months in service, for one slice.

    Cells end where the oldest unit of the quarter has been watched for so many months, had it been
    covered throughout. A cell is immature where part of the
    quarter has not reached its age, or failures at that age are still being reported. It is
    completed month by month: failures reported, times the unit-days that there will be, over the
    unit-days that have passed and been reported (Kalbfleisch, Lawless & Robinson 1991). The limits
    are for what the cell will read once complete: what is unseen follows, given what is seen, a
    negative binomial with that share seen; the lag law and the end of cover count as known.
    """
    groups = [FLEET, *(name for name in dims if name not in ("cause_class", "treatment"))]
    units = _entered(context, groups)
    keys = [*groups, "cohort"]
    law = lag_law(context.failures["failed_on"], context.failures["opened_on"], context.as_of)
    ages = _ages(units, keys, law, context)
    by_class = [name for name in ("cause_class",) if name in dims]
    failed = (
        context.failures.join(units.select("serial", "cohort"), on="serial")
        .with_columns(
            months=(pl.col("age") * 16 + 486) // 487
        )  # the month that ends on or after it
        .group_by(*keys, *by_class, "months")
        .agg(here=pl.len().cast(pl.Int64))
    )
    cells = ages
    if by_class:
        several = pl.DataFrame({"cause_class": context.classes}, schema={"cause_class": pl.String})
        cells = ages.join(several, how="cross")
    at = [*keys, *by_class]
    cells = (
        cells.join(failed, on=[*at, "months"], how="left")
        .with_columns(pl.col("here").fill_null(0))
        .sort(*at, "months")
        .with_columns(
            failures=pl.col("here").cum_sum().over(at),
            completed=(pl.col("here") / pl.col("share")).cum_sum().over(at),
            blind=(pl.col("share") < _LEAST_SHARE).cum_max().over(at),
            seen=pl.col("seen_days").cum_sum().over(at) / pl.col("all_days").cum_sum().over(at),
        )
    )
    rows = pl.concat([_limited(cells), _empty_cells(context, units, at)], how="diagonal_relaxed")
    return labelled(rows.sort(FLEET, *dims, "cohort", "months"), dims, COLUMNS)


def _empty_cells(context: FieldContext, entered: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """One cell, of the as-of date's quarter, for each group that no watched unit has entered."""
    groups = [name for name in keys if name not in ("cohort", "cause_class")]
    dims = tuple(name for name in keys if name not in (FLEET, "cohort"))
    return (
        grid(context, dims)
        .join(entered, on=groups, how="anti")
        .select(
            FLEET,
            *dims,
            cohort=pl.lit(f"{context.as_of.year}-Q{(context.as_of.month + 2) // 3}"),
            months=pl.lit(0, pl.Int64),
            units=pl.lit(0, pl.Int64),
            failures=pl.lit(0, pl.Int64),
            immature=pl.lit(False),
            thin=pl.lit(True),
            note=pl.lit(NO_EXPOSURE),
        )
    )


def _entered(context: FieldContext, groups: list[str]) -> pl.DataFrame:
    """Units with their quarter of entry and the days each will have been watched in the end."""
    quarter = pl.format(
        "{}-Q{}", pl.col("watched_from").dt.year(), pl.col("watched_from").dt.quarter()
    )
    last = pl.min_horizontal("coverage_end", pl.col("retired_on") + pl.duration(days=1))
    return context.units.filter(pl.col("watched_days") > 0).select(
        "serial",
        *groups,
        cohort=quarter,
        in_service=(pl.lit(context.as_of) - pl.col("watched_from")).dt.total_days() + 1,
        whole=(last - pl.col("watched_from")).dt.total_days(),
    )


def _ages(
    units: pl.DataFrame, keys: list[str], law: np.ndarray, context: FieldContext
) -> pl.DataFrame:
    """For each cohort and month of age: units, all_days there will be, seen_days, share, immature.

    `seen_days` are the days that have passed, each counted at the share of failures that is
    reported of it by now.
    """
    kinds = [*keys, "in_service", "whole"]
    # Sorted, since the last digit of a sum of fractions depends on their order.
    alike = units.group_by(kinds).agg(n=pl.len().cast(pl.Float64)).sort(kinds)
    groups = alike.select(keys).unique().sort(keys).with_row_index("group")
    alike = alike.join(groups, on=keys)
    group = alike["group"].to_numpy()
    n, service, whole = (
        alike[name].to_numpy().astype(float) for name in ("n", "in_service", "whole")
    )
    reported_days = np.concatenate([[0.0], np.cumsum(law)])  # sum of the law over lags below d
    total = groups.join(units.group_by(keys).agg(units=pl.len().cast(pl.Int64)), on=keys)
    oldest = np.zeros(groups.height)
    np.maximum.at(oldest, group, service)
    all_days, seen_days, reached = (np.zeros((MONTHS + 1, groups.height)) for _ in range(3))
    for month in range(MONTHS + 1):
        # Ages 0 for month 0, else those past the month before up to this one, in whole days.
        low = 0 if month == 0 else int((month - 1) * MONTH_DAYS) + 1
        high = int(month * MONTH_DAYS) + 1
        there = np.clip(whole, low, high) - low
        seen = _seen(low, np.minimum(low + there, service), service, reported_days)
        all_days[month] = np.bincount(group, n * there, minlength=groups.height)
        seen_days[month] = np.bincount(group, n * seen, minlength=groups.height)
        reached[month] = oldest >= month * MONTH_DAYS
    place = np.tile(np.arange(groups.height), MONTHS + 1)
    share = pl.col("seen_days") / pl.col("all_days")
    return (
        groups[place]
        .with_columns(
            months=pl.Series(np.repeat(np.arange(MONTHS + 1), groups.height)),
            all_days=pl.Series(all_days.reshape(-1)),
            seen_days=pl.Series(seen_days.reshape(-1)),
            reached=pl.Series(reached.reshape(-1) > 0),
        )
        .filter("reached")
        .join(total.select("group", "units"), on="group")
        .with_columns(share=pl.when(pl.col("all_days") > 0).then(share).otherwise(1.0))
        .drop("group", "reached")
    )


def _seen(low: int, until: np.ndarray, service: np.ndarray, sums: np.ndarray) -> np.ndarray:
    """Sum over ages from `low` below `until` of the share reported by now, for each unit."""

    def below(lag: np.ndarray) -> np.ndarray:
        lag = np.maximum(lag, 0).astype(int)
        past = np.maximum(lag - (len(sums) - 1), 0)  # beyond the longest lag all is reported
        days: np.ndarray = sums[np.minimum(lag, len(sums) - 1)] + past
        return days

    # Age a was service - 1 - a days ago.
    seen: np.ndarray = np.maximum(below(service - low) - below(service - until), 0)
    return seen


def _limited(cells: pl.DataFrame) -> pl.DataFrame:
    from scipy.stats import nbinom

    failures, completed = (
        cells[name].to_numpy().astype(float) for name in ("failures", "completed")
    )
    overall = cells["seen"].fill_null(1.0).to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.where(failures > 0, failures / completed, overall)
    seen = np.clip(seen, 1e-9, 1.0)
    unseen = [nbinom.ppf(tail, failures + 0.5, seen) for tail in (0.025, 0.975)]
    low, high = (np.where(seen < 1, failures + x, failures) for x in unseen)
    per_100 = 100 / pl.col("units")
    immature = pl.Series(seen < MATURE_SHARE) | (cells["seen"] < MATURE_SHARE)
    known = ~pl.col("blind")
    return cells.with_columns(
        per_100=pl.col("failures") * per_100,
        completed_per_100=pl.when(known).then(pl.col("completed") * per_100),
        completed_low=pl.when(known).then(pl.Series(low) * per_100),
        completed_high=pl.when(known).then(pl.Series(high) * per_100),
        immature=immature.fill_null(False),
        thin=thin(),
        note=pl.when(~known).then(
            pl.lit("cannot be completed, because less than a tenth of this age has been seen")
        ),
    )
