"""Figure 8: failures and cost of the next twelve months, and the same forecast of a year ago.

Belongs here: expected failures of the units that are still covered, and their intervals. Does not
belong here: rates of the past (`rates`).

Each family has a rate for each band of months in service, from its failures and unit-days so far,
leaving out the latest weeks, whose failures are not all reported yet. A unit's days of cover in a
month, by band, times the rates are what is expected. Intervals: counts given the rates are
Poisson, widened by the overdispersion of past months; the rates' own error is that of a gamma with
as many failures as they rest on. Units that are still to be sold are not in it.
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from pipelines.field.adjustment import BANDS_DAYS
from pipelines.field.context import FieldContext
from pipelines.field.exposure import months_between
from pipelines.field.reporting_lag import lag_law
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, Slice, labelled

MONTHS = 12
_KNOWN_SHARE = 0.95  # failures of days by which fewer are reported yet are left out of the rates
_NO_RATE = "cannot be estimated, because there was no failure"
_NO_COVER = "no unit is covered in this month"
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
_ENDS = (*BANDS_DAYS[1:], 10**6)


def forecast(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """The coming twelve months as of today, and as of a year ago with what happened since."""
    year_ago = _months_on(context.as_of, -MONTHS)
    parts = [
        _made(context, dims, year_ago, context.as_of),
        _made(context, dims, context.as_of, None),
    ]
    return labelled(pl.concat(parts).sort(*dims, "as_of", "month"), dims, COLUMNS)


def _made(context: FieldContext, dims: Slice, made_on: date, known_to: date | None) -> pl.DataFrame:
    """One forecast, from what was known on `made_on`."""
    units = _fleet_on(context.units, made_on)
    failures = context.failures.filter(
        (pl.col("failed_on") <= made_on) & (pl.col("opened_on") <= made_on)
    ).join(units.select("serial"), on="serial", how="semi")
    settled = made_on - timedelta(days=_unsettled_days(failures, made_on))
    rates = _rates(units, failures, settled)
    first = _months_on(made_on.replace(day=1), 1)
    months = months_between(first, _months_on(first, MONTHS))
    expected = _expected(units, dims, months).join(rates, on=["family", "band"], how="left")
    by_month = (
        expected.with_columns(pl.col("rate", "failures").fill_null(0.0))
        # Sorted, so that the last digit of a sum does not hang on the order of rows.
        .sort(list(dict.fromkeys([*dims, "month", "family", "band"])))
        .group_by(*dims, "month", maintain_order=True)
        .agg(
            mean=(pl.col("days") * pl.col("rate")).sum(),
            # The error of a rate from n failures is rate/sqrt(n); cells' errors are independent.
            error=(
                pl.when(pl.col("failures") > 0)
                .then((pl.col("days") * pl.col("rate")) ** 2 / pl.col("failures"))
                .otherwise(0.0)
            ).sum(),
            covered=pl.col("covered").sum(),
        )
    )
    grid = _grid(units, dims, months[:-1]).join(by_month, on=[*dims, "month"], how="left")
    spread = _overdispersion(units, failures, settled)
    cost_mean, cost_spread = _cost_of_one(failures)
    return (
        _with_limits(
            grid.with_columns(
                pl.col("mean", "error").fill_null(0.0), pl.col("covered").fill_null(0)
            ),
            spread,
            cost_mean,
            cost_spread,
            failures.height,
        )
        .join(_happened(context, units, dims, months, known_to), on=[*dims, "month"], how="left")
        .with_columns(
            as_of=pl.lit(made_on),
            actual=pl.col("actual") if known_to is None else _complete(months, known_to),
        )
    )


def _complete(months: list[date], known_to: date) -> pl.Expr:
    """What happened, 0 where nothing did, in months that are over."""
    over = pl.col("month").dt.offset_by("1mo") <= known_to + timedelta(days=1)
    return pl.when(over).then(pl.col("actual").fill_null(0))


def _months_on(day: date, months: int) -> date:
    """The day some calendar months on, clamped to the month's end."""
    return pl.select(pl.lit(day).dt.offset_by(f"{months}mo")).item()


def _fleet_on(units: pl.DataFrame, made_on: date) -> pl.DataFrame:
    """Units in service by then, with their cover and watch as they were known then."""
    done = pl.col("startup_completed_on") <= made_on
    end = pl.when(done).then("coverage_end").otherwise("coverage_base_end")
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


def _rates(units: pl.DataFrame, failures: pl.DataFrame, settled: date) -> pl.DataFrame:
    """Failures a day by family and band: family, band, failures, rate.

    Where a family has no failure in a band, the family's rate over all bands stands in.
    """
    spans = units.with_columns(
        last=pl.min_horizontal("seen_until", pl.lit(settled + timedelta(days=1)))
    )
    exposed = _band_days(
        spans, pl.lit(0), (pl.col("last") - pl.col("watched_from")).dt.total_days()
    )
    days = exposed.group_by("family", "band").agg(pl.col("days").sum())
    counted = (
        failures.filter(pl.col("failed_on") <= settled)
        .with_columns(band=_band(pl.col("age")))
        .group_by("family", "band")
        .agg(failures=pl.len().cast(pl.Float64))
    )
    table = days.join(counted, on=["family", "band"], how="left").with_columns(
        pl.col("failures").fill_null(0.0)
    )
    of_family = table.group_by("family").agg(
        family_failures=pl.col("failures").sum(), family_days=pl.col("days").sum()
    )
    every = of_family.join(
        pl.DataFrame({"band": list(range(len(BANDS_DAYS)))}, schema={"band": pl.Int64}), how="cross"
    )
    own = pl.col("failures") > 0
    return every.join(table, on=["family", "band"], how="left").select(
        "family",
        "band",
        rate=pl.when(own)
        .then(pl.col("failures") / pl.col("days"))
        .otherwise(pl.col("family_failures") / pl.col("family_days")),
        failures=pl.when(own).then("failures").otherwise("family_failures"),
    )


def _band(age: pl.Expr) -> pl.Expr:
    return pl.sum_horizontal((age >= start).cast(pl.Int64) for start in BANDS_DAYS) - 1


def _band_days(units: pl.DataFrame, start: pl.Expr, end: pl.Expr) -> pl.DataFrame:
    """Days of each unit between two ages, by band."""
    aged = units.with_columns(_start=start, _end=end)
    return pl.concat(
        [
            aged.with_columns(
                band=pl.lit(band, pl.Int64),
                days=pl.min_horizontal("_end", stop) - pl.max_horizontal("_start", begin),
            ).filter(pl.col("days") > 0)
            for band, (begin, stop) in enumerate(zip(BANDS_DAYS, _ENDS, strict=True))
        ]
    ).drop("_start", "_end")


def _expected(units: pl.DataFrame, dims: Slice, months: list[date]) -> pl.DataFrame:
    """Days of cover to come, by slice, family, band and month."""
    parts = []
    keys = list(dict.fromkeys([*dims, "family", "band"]))
    for month, following in pairwise(months):
        begins = pl.max_horizontal("watched_from", pl.lit(month))
        covered = units.filter(pl.col("ends") > month)
        inside = _band_days(
            covered,
            (begins - pl.col("watched_from")).dt.total_days(),
            (pl.min_horizontal("ends", pl.lit(following)) - pl.col("watched_from")).dt.total_days(),
        )
        parts.append(
            inside.group_by(keys)
            .agg(pl.col("days").sum(), covered=pl.col("serial").n_unique())
            .with_columns(month=pl.lit(month))
        )
    return pl.concat(parts)


def _grid(units: pl.DataFrame, dims: Slice, months: list[date]) -> pl.DataFrame:
    groups = units.select(dims).unique() if dims else pl.DataFrame({"_": [0]})
    every = groups.join(pl.DataFrame({"month": months}, schema={"month": pl.Date}), how="cross")
    return every.drop("_", strict=False)


def _overdispersion(units: pl.DataFrame, failures: pl.DataFrame, settled: date) -> float:
    """How much more past months vary than a Poisson count about a smooth course would.

    Half the mean squared difference of neighboring months' counts over their mean: a slow change
    of the fleet does not count as variation (von Neumann's estimate). At least 1.
    """
    closed = settled.replace(day=1)
    counts = (
        failures.filter(pl.col("failed_on") < closed)
        .group_by(pl.col("failed_on").dt.truncate("1mo"))
        .len()
        .sort("failed_on")["len"]
        .to_numpy()
        .astype(float)[-24:]
    )
    if len(counts) < 6:
        return 1.0
    middle = (counts[1:] + counts[:-1]) / 2
    return float(max(1.0, np.mean(np.diff(counts) ** 2 / 2 / np.maximum(middle, 1e-9))))


def _cost_of_one(failures: pl.DataFrame) -> tuple[float, float]:
    """Mean and standard deviation of what one failure costs."""
    cost = failures.select(
        pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64)
    ).to_series()
    if cost.is_empty():
        return 0.0, 0.0
    return float(cost.mean() or 0.0), float(cost.std() or 0.0)  # type: ignore[arg-type]


def _with_limits(
    table: pl.DataFrame, spread: float, cost: float, cost_spread: float, past: int
) -> pl.DataFrame:
    from scipy.stats import gamma, nbinom

    mean = table["mean"].to_numpy()
    variance = spread * mean + table["error"].to_numpy()
    known = (mean > 0) & (past > 0)
    limits = {}
    for level in (80, 95):
        tail = (1 - level / 100) / 2
        for side, share in (("low", tail), ("high", 1 - tail)):
            found = np.full(len(mean), np.nan)
            if known.any():
                m, v = mean[known], np.maximum(variance[known], mean[known] * (1 + 1e-9))
                found[known] = nbinom.ppf(share, m * m / (v - m), m / v)
            limits[f"{side}_{level}"] = found
    costly = known & (cost > 0)
    cost_variance = mean * cost_spread**2 + variance * cost**2
    for level in (80, 95):
        tail = (1 - level / 100) / 2
        for side, share in (("low", tail), ("high", 1 - tail)):
            found = np.full(len(mean), np.nan)
            if costly.any():
                m, v = mean[costly] * cost, cost_variance[costly]
                found[costly] = gamma.ppf(share, m * m / v, scale=v / m)
            limits[f"cost_{side}_{level}"] = found
    none = pl.col("covered") == 0
    return table.with_columns(
        *(pl.Series(name, values, nan_to_null=True) for name, values in limits.items()),
        failures=pl.when(pl.lit(past > 0) | none).then("mean"),
        cost=pl.when(pl.lit(past > 0) | none).then(pl.col("mean") * cost),
        thin=(pl.col("mean") * MONTHS < FEWEST_FAILURES) | (pl.col("covered") < FEWEST_UNITS),
        note=pl.when(none).then(pl.lit(_NO_COVER)).when(pl.lit(past == 0)).then(pl.lit(_NO_RATE)),
    )


def _happened(
    context: FieldContext,
    units: pl.DataFrame,
    dims: Slice,
    months: list[date],
    known_to: date | None,
) -> pl.DataFrame:
    """Failures of the forecast's units in its months: dims, month, actual (null: still to come)."""
    schema = dict.fromkeys(dims, pl.String) | {"month": pl.Date, "actual": pl.Int64}
    if known_to is None:
        return pl.DataFrame(schema=schema)
    return (
        context.failures.filter(
            (pl.col("failed_on") >= months[0]) & (pl.col("failed_on") < months[-1])
        )
        .join(units.select("serial"), on="serial", how="semi")
        .group_by(*dims, month=pl.col("failed_on").dt.truncate("1mo"))
        .agg(actual=pl.len().cast(pl.Int64))
    )
