"""Figure 13: two slices against each other.

Belongs here: failures, time and rate of each side, and their ratio by three methods. Does not
belong here: which days and failures a side has (`selection`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.conditions import Condition
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import failure_values
from pipelines.field.laws import normal_above
from pipelines.field.poisson import (
    DAYS_PER_YEAR,
    UNKNOWN_RATIO,
    Z_95,
    Ratio,
    garwood_limits,
    mantel_haenszel,
    rate_ratio,
)
from pipelines.field.selection import mark_days, mark_failures
from pipelines.field.unit_days import split_days
from schemas.wording import counted, number

STRATA = ("family", "needs", "age")


class Side(NamedTuple):
    """One side of a comparison; rates per 100 unit-years with exact 95 % limits."""

    failures: int
    units: int
    unit_years: float
    rate_per_100: float | None
    low: float | None
    high: float | None


class Tested(NamedTuple):
    """A ratio of the first side to the second, by one method."""

    method: str
    ratio: float | None
    low: float | None
    high: float | None
    p_value: float | None


@dataclass(frozen=True)
class Comparison:
    """Both sides, their ratios, and the failures in strata in which one side has no time."""

    a: Side
    b: Side
    ratios: tuple[Tested, ...]
    left_out: int
    sentence: str


@dataclass(frozen=True)
class Parts:
    """Days and failures of both sides.

    days: unit, STRATA, days, side (`a` or `b`); failures: unit, STRATA, f, side. A day that both
    sides select stands in each.
    """

    days: pl.DataFrame
    failures: pl.DataFrame


def parts_of(context: FieldContext, a: Sequence[Condition], b: Sequence[Condition] | None) -> Parts:
    """The days and failures of two selections; without the second one, of all other days.

    What parts the failures only (cause_class, cause, part) is asked of the other days too.
    """
    days = {"a": mark_days(context, a).filter("inside")}
    if b is None:
        days["b"] = mark_days(context, a).filter(~pl.col("inside"))
    else:
        days["b"] = mark_days(context, b).filter("inside")
    return Parts(
        pl.concat(
            split_days(spans, context.units, STRATA).with_columns(side=pl.lit(side))
            for side, spans in days.items()
        ),
        pl.concat(
            failure_values(context.failures.filter(met), STRATA)
            .group_by("unit", *STRATA)
            .agg(f=pl.len().cast(pl.Int64))
            .with_columns(side=pl.lit(side))
            for side, met in failures_of_sides(context, a, b).items()
        ),
    )


def failures_of_sides(
    context: FieldContext, a: Sequence[Condition], b: Sequence[Condition] | None
) -> dict[str, pl.Series]:
    """Which of the context's failures each side of `parts_of` has, by side."""
    first = mark_failures(context, a)
    if b is not None:
        return {"a": first, "b": mark_failures(context, b)}
    of_kind = mark_failures(context, [one for one in a if one.of_failure])
    of_days = mark_failures(context, [one for one in a if not one.of_failure])
    return {"a": first, "b": of_kind & ~of_days}


def compare(parts: Parts, first: str, second: str) -> Comparison:
    """The comparison of two sides, called `first` and `second` in its sentence."""
    a, b = _side(parts, "a"), _side(parts, "b")
    adjusted, left_out = _stratified(parts)
    ratios = (_exact(a, b), _robust(parts, a, b), adjusted)
    return Comparison(a, b, ratios, left_out, _sentence(first, second, a, b, adjusted))


def _side(parts: Parts, side: str) -> Side:
    own = parts.days.filter(pl.col("side") == side)
    failures = int(parts.failures.filter(pl.col("side") == side)["f"].sum())
    years = float(own["days"].sum()) / DAYS_PER_YEAR
    if years == 0:
        return Side(failures, 0, 0.0, None, None, None)
    low, high = (100 * float(limit[0]) / years for limit in garwood_limits(np.array([failures])))
    return Side(failures, own["unit"].n_unique(), years, 100 * failures / years, low, high)


def _exact(a: Side, b: Side) -> Tested:
    """Given the total, the first count is binomial; limits by Clopper and Pearson."""
    from scipy.stats import binomtest

    ratio = rate_ratio(a.failures, a.unit_years, b.failures, b.unit_years)
    total = a.failures + b.failures
    p_value = None
    if total and a.unit_years > 0 and b.unit_years > 0:
        share = a.unit_years / (a.unit_years + b.unit_years)
        p_value = float(binomtest(a.failures, total, share).pvalue)
    return _tested("exact", ratio, p_value)


def _robust(parts: Parts, a: Side, b: Side) -> Tested:
    """Log limits, variance summed over units: a unit may stand on both sides and fail again."""
    if not a.failures or not b.failures or not a.unit_years or not b.unit_years:
        return _tested("robust", UNKNOWN_RATIO, None)
    by_unit = (
        parts.days.group_by("unit", "side")
        .agg(t=pl.col("days").sum() / DAYS_PER_YEAR)
        .join(
            parts.failures.group_by("unit", "side").agg(y=pl.col("f").sum()),
            on=["unit", "side"],
            how="left",
        )
        .with_columns(pl.col("y").fill_null(0))
    )
    terms = {
        side: (pl.col("y") - float(figures.failures / figures.unit_years) * pl.col("t"))
        / float(figures.failures)
        * sign
        for side, figures, sign in (("a", a, 1), ("b", b, -1))
    }
    part = pl.when(pl.col("side") == "a").then(terms["a"]).otherwise(terms["b"])
    sums = by_unit.with_columns(part=part).group_by("unit").agg(pl.col("part").sum())["part"]
    error = float(np.sqrt(float((sums * sums).sum())))
    ratio = a.failures / a.unit_years / (b.failures / b.unit_years)
    limits = (float(ratio * np.exp(sign * Z_95 * error)) for sign in (-1, 1))
    p_value = float(2 * normal_above(abs(np.log(ratio)) / error)) if error > 0 else None
    return _tested("robust", Ratio(ratio, *limits), p_value)


def _stratified(parts: Parts) -> tuple[Tested, int]:
    """Mantel and Haenszel over family x needs x age band, and the failures left out."""
    keys = [*STRATA, "side"]
    cells = (
        parts.days.group_by(keys)
        .agg(t=pl.col("days").sum() / DAYS_PER_YEAR)
        .join(parts.failures.group_by(keys).agg(y=pl.col("f").sum()), on=keys, how="left")
        .with_columns(pl.col("y").fill_null(0))
    )
    a, b = (cells.filter(pl.col("side") == side).drop("side") for side in ("a", "b"))
    strata = a.join(b, on=list(STRATA), how="full", coalesce=True).fill_null(0).sort(STRATA)
    shared = (pl.col("t") > 0) & (pl.col("t_right") > 0)
    alone = strata.filter(~shared)
    left_out = int(alone["y"].sum()) + int(alone["y_right"].sum())
    both = strata.filter(shared)
    ratio = mantel_haenszel(*(both[name].to_numpy() for name in ("y", "t", "y_right", "t_right")))
    return _tested("mantel_haenszel", ratio, wald_p(ratio)), left_out


def wald_p(ratio: Ratio) -> float | None:
    """The two-sided p-value of a ratio whose limits are symmetric on the log scale."""
    if not np.isfinite(ratio.ratio) or not np.isfinite(ratio.high) or ratio.ratio <= 0:
        return None
    error = (np.log(ratio.high) - np.log(ratio.low)) / (2 * Z_95)
    return float(2 * normal_above(abs(np.log(ratio.ratio)) / error)) if error > 0 else None


def _tested(method: str, ratio: Ratio, p_value: float | None) -> Tested:
    point, low, high = (float(value) if np.isfinite(value) else None for value in ratio)
    return Tested(method, point, low, high, p_value)


FEWEST_NAMED, LEAST_SURE = 10, 0.10  # failures of who is named, and the p-value, for a sentence


def _sentence(first: str, second: str, a: Side, b: Side, adjusted: Tested) -> str:
    """Goes by the last of the ratios: higher or lower only where it can be said."""
    both_rates = (
        f"{_rate(a)} ({first}) against {_rate(b)} ({second}), "
        "compared within family, needs and age band"
    )
    if adjusted.ratio is None or adjusted.low is None or adjusted.high is None:
        return f"No ratio can be estimated: {both_rates}."
    limits = f"{adjusted.ratio:.2f} times ({adjusted.low:.2f} to {adjusted.high:.2f})"
    if a.failures < FEWEST_NAMED or adjusted.p_value is None or adjusted.p_value > LEAST_SURE:
        return f"No difference can be told, {limits}: {both_rates}."
    word = "higher" if adjusted.ratio > 1 else "lower"
    return f"The rate of the first is {word}, {limits}: {both_rates}."


def _rate(side: Side) -> str:
    if side.rate_per_100 is None:
        return "no time watched"
    happened = counted(side.failures, "failure")
    return f"{number(side.rate_per_100)} per 100 unit-years from {happened}"
