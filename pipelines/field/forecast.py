"""Figure 8: failures and cost of the next twelve months, and the same forecast of a year ago.

Belongs here: the table `forecast`: who is still covered, intervals, cost, what happened. Does not
belong here: what is expected (`projection`), rates of the past (`rates`).

Rates rest on all failures so far but those of the latest weeks, which are not all reported yet.
Intervals: counts given the rates are Poisson, widened by the overdispersion of past months; the
rates' own error comes on top. Units that are still to be sold are not in it.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.coverage.calendar_days import add_months_array
from pipelines.field.context import FLEET, FieldContext
from pipelines.field.exposure import months_between
from pipelines.field.projection import Fleet, Past, project
from pipelines.field.rates import grid
from pipelines.field.reporting_lag import lag_law
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, Slice, labelled

MONTHS = 12
COLUMNS = (
    "as_of",
    "month",
    "failures",
    "low_80",
    "high_80",
    "low_95",
    "high_95",
    "cost",
    "cost_low_80",
    "cost_high_80",
    "cost_low_95",
    "cost_high_95",
    "actual",
)
_KNOWN_SHARE = 0.95  # failures of days by which fewer are reported yet are left out of the rates
_FEWEST_COSTS = 20  # failures from which a group's own mean cost is taken
_NO_RATE = "cannot be estimated, because there was no failure"
_NO_COVER = "no unit is covered in this month"
_NO_LIMITS = (
    "limits cannot be estimated, because no failure of the kind is known from before the latest "
    "weeks"
)
_NO_COST_LIMITS = (
    "limits of the cost cannot be estimated, because nothing was payable for the failures so far"
)


def forecast(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """The coming twelve months as of today, and as of a year ago with what happened since."""
    year_ago = _months_on(context.as_of, -MONTHS)
    made = [_made(context, dims, day) for day in (year_ago, context.as_of)]
    return labelled(pl.concat(made).sort(*dims, "as_of", "month"), dims, COLUMNS)


def _made(context: FieldContext, dims: Slice, made_on: date) -> pl.DataFrame:
    """One forecast, from what was known on `made_on`."""
    units = _fleet_on(context.units, made_on)
    failures = context.failures.filter(
        (pl.col("failed_on") <= made_on) & (pl.col("opened_on") <= made_on)
    ).join(units.select("unit"), on="unit", how="semi")
    settled = made_on - timedelta(days=_unsettled_days(failures, made_on))
    first = _months_on(made_on.replace(day=1), 1)
    months = months_between(first, _months_on(first, MONTHS))
    columns = _columns(context, dims)
    mean, error, covered = _expected(context, dims, units, failures, settled, months)
    costs = _costs(failures, columns, dims)
    spread = _overdispersion(failures, settled)
    table = columns.join(
        pl.DataFrame({"month": months[:-1]}), how="cross", maintain_order="left_right"
    ).with_columns(
        as_of=pl.lit(made_on),
        mean=pl.Series(mean.T.reshape(-1)),
        covered=pl.Series(covered.T.reshape(-1)),
    )
    limits = _limits(mean.T.reshape(-1), error.T.reshape(-1), spread, costs, len(months) - 1)
    happened = _happened(context, units, dims, months)
    return (
        _described(table.with_columns(limits), failures.height)
        .join(happened, on=[*dims, "month"], how="left")
        .with_columns(actual=_complete(context.as_of))
    )


def _columns(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Every group and cause class, class within group: `dims`, in the order of their numbers."""
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    groups = grid(context, tuple(placed[1:])).select(placed).sort(placed)
    if "cause_class" in dims:
        classes = pl.DataFrame({"cause_class": context.classes}, schema={"cause_class": pl.String})
        groups = groups.join(classes, how="cross", maintain_order="left_right")
    return groups


def _expected(
    context: FieldContext,
    dims: Slice,
    units: pl.DataFrame,
    failures: pl.DataFrame,
    settled: date,
    months: list[date],
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    groups = grid(context, tuple(placed[1:])).select(placed).sort(placed).with_row_index("group")
    classes = context.classes if "cause_class" in dims else ["all"]
    number = {name: place for place, name in enumerate(classes)}
    families = context.units["family"].unique().sort()
    of_family = pl.col("family").replace_strict(
        families, pl.int_range(len(families), eager=True), return_dtype=pl.Int64
    )
    closing = pl.min_horizontal("seen_until", pl.lit(settled + timedelta(days=1)))
    fleet = (
        units.join(groups, on=placed)
        .select(
            "group",
            of_family,
            "watched_from",
            "ends",
            closing=pl.max_horizontal(closing, "watched_from"),
        )
        .group_by("group", "family", "watched_from", "ends", "closing")
        .agg(n=pl.len())
        .sort("group", "family", "watched_from", "ends", "closing")
    )
    part = pl.col("cause_class").replace_strict(number, default=0, return_dtype=pl.Int64)
    past = (
        failures.filter(pl.col("failed_on") <= settled)
        .join(groups, on=placed)
        .select("group", of_family, "age", part)
    )
    return project(
        Fleet(*(_numbers(column) for column in fleet)),
        Past(*(_numbers(column) for column in past)),
        (groups.height, len(families), len(classes)),
        _numbers(pl.Series(months, dtype=pl.Date)),
    )


def _numbers(column: pl.Series) -> np.ndarray:
    return column.cast(pl.Int64).to_numpy()


def _complete(as_of: date) -> pl.Expr:
    """What happened, 0 where nothing did, in months that are over."""
    over = pl.col("month").dt.offset_by("1mo") <= as_of + timedelta(days=1)
    return pl.when(over).then(pl.col("actual").fill_null(0))


def _months_on(day: date, months: int) -> date:
    """The day some calendar months on, clamped to the month's end."""
    there: date = add_months_array(np.array([day], "datetime64[D]"), np.array([months])).item()
    return there


def _fleet_on(units: pl.DataFrame, made_on: date) -> pl.DataFrame:
    """Units in service by then, with their cover and exposure as they were known then."""
    extended = pl.col("extended_on") <= made_on
    end = pl.when(extended).then("coverage_end").otherwise("coverage_base_end")
    retired = pl.when(pl.col("retired_on") <= made_on).then("retired_on")
    last = retired + timedelta(days=1)
    return (
        units.filter(pl.col("watched_from") <= made_on)
        .with_columns(ends=pl.min_horizontal(end, last))
        .with_columns(seen_until=pl.min_horizontal("ends", pl.lit(made_on + timedelta(days=1))))
        .filter(pl.col("watched_from") < pl.col("seen_until"))
    )


def _unsettled_days(failures: pl.DataFrame, made_on: date) -> int:
    """How long ago a failure must lie for nearly all of its kind to be reported."""
    law = lag_law(failures["failed_on"], failures["opened_on"], made_on)
    return int(np.searchsorted(law, _KNOWN_SHARE))


def _overdispersion(failures: pl.DataFrame, settled: date) -> float:
    """How much more past months vary than a Poisson count about a smooth course would.

    Half the mean squared difference of neighboring months' counts over their mean, in the last
    two years: a slow change of the fleet does not count as variation (von Neumann's estimate). At
    least 1.
    """
    closed = settled.replace(day=1)
    month = pl.col("failed_on").dt.truncate("1mo")
    some = failures.filter(pl.col("failed_on") < closed).group_by(month.alias("month")).len()
    if some.is_empty():
        return 1.0
    first = max(min(some["month"].to_list()), _months_on(closed, -24))
    every = pl.DataFrame({"month": months_between(first, _months_on(closed, -1))})
    counts = every.join(some, on="month", how="left").sort("month")["len"].fill_null(0)
    if len(counts) < 6:
        return 1.0
    values = counts.to_numpy().astype(float)
    middle = np.maximum((values[1:] + values[:-1]) / 2, 0.5)
    return float(max(1.0, np.mean(np.diff(values) ** 2 / 2 / middle)))


class _Costs(NamedTuple):
    """Mean and standard deviation of what one failure costs, by column of the forecast."""

    mean: np.ndarray
    spread: np.ndarray


def _costs(failures: pl.DataFrame, columns: pl.DataFrame, dims: Slice) -> _Costs:
    """A group's own where it has 20 failures, else the fleet's."""
    cost = pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64)
    whole = failures.select(mean=cost.mean(), spread=cost.std()).row(0)
    by_group = failures.group_by(FLEET, *dims).agg(mean=cost.mean(), spread=cost.std(), n=pl.len())
    own = columns.join(by_group, on=[FLEET, *dims], how="left", maintain_order="left")
    known = pl.col("n") >= _FEWEST_COSTS
    chosen = own.select(
        pl.when(known).then(pl.col(name)).otherwise(pl.lit(usual or 0.0)).alias(name)
        for name, usual in zip(("mean", "spread"), whole, strict=True)
    )
    return _Costs(*(chosen[name].to_numpy() for name in ("mean", "spread")))


def _limits(
    mean: np.ndarray, error: np.ndarray, spread: float, costs: _Costs, months: int
) -> list[pl.Series]:
    """Negative-binomial limits of the counts, gamma limits of the cost, and the cost itself."""
    from scipy.stats import gamma, nbinom

    cost, deviation = (np.repeat(column, months) for column in costs)
    variance = np.maximum(spread * mean + error, mean * (1 + 1e-9))
    cost_variance = mean * deviation**2 + variance * cost**2
    likely, costly = mean > 0, (mean > 0) & (cost > 0)
    limits = [pl.Series("cost", mean * cost)]
    for level in (80, 95):
        tail = (1 - level / 100) / 2
        for side, share in (("low", tail), ("high", 1 - tail)):
            counts, money = (np.full(len(mean), np.nan) for _ in range(2))
            m, v = mean[likely], variance[likely]
            counts[likely] = nbinom.ppf(share, m * m / (v - m), m / v)
            m, v = (mean * cost)[costly], cost_variance[costly]
            money[costly] = gamma.ppf(share, m * m / v, scale=v / m)
            limits.append(pl.Series(f"{side}_{level}", counts))
            limits.append(pl.Series(f"cost_{side}_{level}", money))
    return limits


def _described(table: pl.DataFrame, past: int) -> pl.DataFrame:
    none = pl.col("covered") == 0
    known = pl.lit(past > 0) | none
    return table.with_columns(
        failures=pl.when(known).then("mean"),
        cost=pl.when(known).then("cost"),
        thin=(pl.col("mean") * MONTHS < FEWEST_FAILURES) | (pl.col("covered") < FEWEST_UNITS),
        note=pl.when(none)
        .then(pl.lit(_NO_COVER))
        .when(pl.lit(past == 0))
        .then(pl.lit(_NO_RATE))
        .when(pl.col("mean") == 0)
        .then(pl.lit(_NO_LIMITS))
        .when(pl.col("cost") == 0)
        .then(pl.lit(_NO_COST_LIMITS)),
    )


def _happened(
    context: FieldContext, units: pl.DataFrame, dims: Slice, months: list[date]
) -> pl.DataFrame:
    """Failures of the forecast's units in its months: dims, month, actual."""
    return (
        context.failures.filter(
            (pl.col("failed_on") >= months[0]) & (pl.col("failed_on") < months[-1])
        )
        .join(units.select("unit"), on="unit", how="semi")
        .group_by(*dims, month=pl.col("failed_on").dt.truncate("1mo"))
        .agg(actual=pl.len().cast(pl.Int64))
    )
