"""Figure 11: what moved limits may come to in the year to come.

Belongs here: units between two limits, their time, and the failures and cost that more or less
treatment would bring. Does not belong here: deciding claims again, which limits other terms move
(`changed_limits`).

An upper bound: everybody is taken to stop, or to begin, on the next day.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import polars as pl

from pipelines.field.changed_limits import Moved
from pipelines.field.context import FieldContext
from pipelines.field.days_to_come import MONTHS
from pipelines.field.dose_bins import bins_of, bins_of_dose, dose_bins
from pipelines.field.doses import Dose, protected
from pipelines.field.failure_cost import FEWEST, costed
from pipelines.field.hindsight import fleet_known, months_on
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95
from pipelines.field.slices import ALL, FEWEST_FAILURES
from schemas.polars_types import mean_of, spread_of

COLUMNS = pl.Schema(
    {
        **dict.fromkeys(("family", "analyte"), pl.String()),
        **dict.fromkeys(("limit_before", "limit_after"), pl.Float64()),
        "units": pl.Int64(),
        **dict.fromkeys(("unit_years", "treated_unit_years"), pl.Float64()),
        **dict.fromkeys(("extra_failures", "low", "high"), pl.Float64()),
        **dict.fromkeys(("extra_cost", "cost_low", "cost_high"), pl.Float64()),
        "note": pl.String(),
    }
)
BOUND = (
    "an upper bound: all of them are taken to {} on the next day, and the ratio of rates is an "
    "association, not a proof"
)
_NOBODY = "no unit in cover lies between the limits"
_NO_RATIO = "cannot be estimated, because treated and untreated units cannot be compared"
_NO_RATE = "cannot be estimated, because no unprotected day at these values was watched"
_DRAWS, _SEED = 2000, 11


def expected(context: FieldContext, moved: list[Moved], ratios: pl.DataFrame) -> pl.DataFrame:
    """One row a moved limit.

    Extra failures: unit-years x the rate of water-caused failures on unprotected days of the
    value's bin x (1 - the ratio of treated to untreated units). A laxer limit lets those stop who
    are treated for it alone; a stricter one makes the others treat (less than 0).

    Args:
        context: the fleet under the terms as they are.
        moved: of `changed_limits`.
        ratios: of `treatment_ratios`.
    """
    cox = ratios.filter(
        pl.col("by") == ALL,
        pl.col("event") == "water",
        pl.col("comparison") == "treated vs untreated",
        pl.col("method") == "cox",
    ).drop_nulls(["ratio", "low", "high"])
    random = np.random.default_rng(_SEED)
    factor = None
    if not cox.is_empty():
        ratio, low, high = cox.select("ratio", "low", "high").row(0)
        spread = np.log(high / low) / (2 * Z_95)
        factor = 1 - ratio * np.exp(spread * random.standard_normal(_DRAWS))
        factor = np.insert(factor, 0, 1 - ratio)  # the first is the estimate
    rows = [_row(context, one, factor, random) for one in moved]
    return pl.DataFrame(rows, schema=COLUMNS, orient="row")


def _row(
    context: FieldContext, one: Moved, factor: np.ndarray | None, random: np.random.Generator
) -> tuple[object, ...]:
    between = _between(context, one)
    years = float(between["years"].sum())
    treated = float(between.filter("protected")["years"].sum())
    limits = (x if np.isfinite(x) else None for x in (one.before, one.after))
    head = (one.family, one.analyte, *limits, between.height, years, treated)
    if between.is_empty():
        return (*head, *(0.0,) * 6, _NOBODY)
    alone = pl.col("protected") & (pl.col("needs") == one.needs) & ~pl.col("alike")
    own = between.filter(alone if one.laxer else ~pl.col("protected"))
    if factor is None:
        return (*head, *(None,) * 6, _NO_RATIO)
    failures = _failures(context, one, own, factor, random)
    if failures is None:
        return (*head, *(None,) * 6, _NO_RATE)
    signed = failures if one.laxer else -failures
    cost, error = _cost(context, one.family)
    money = signed * cost * np.insert(1 + error * random.standard_normal(_DRAWS), 0, 1.0)
    figures = [
        value
        for draws in (signed, money)
        for value in (draws[0], *np.quantile(draws[1:], [0.025, 0.975]))
    ]
    words = "stop" if one.laxer else "begin, and to keep it up,"
    return (*head, *(float(value) + 0.0 for value in figures), BOUND.format(words))


def _between(context: FieldContext, one: Moved) -> pl.DataFrame:
    """Units in cover whose analyte lies between: value, needs, protected, years to come."""
    today = int(np.datetime64(context.as_of, "D").astype(np.int64))
    end = int(np.datetime64(months_on(context.as_of, MONTHS), "D").astype(np.int64)) + 1
    fleet = fleet_known(context, context.as_of).filter(
        pl.col("family") == one.family, pl.col("starts") <= today, pl.col("ends") > today
    )
    low, high = sorted((one.before, one.after))
    values = context.grounds.samples.select(
        "sample", value=one.analyte, alike=_breaks_others(context, one)
    )
    # A value at the limit is within it, be it a maximum or a minimum.
    closed: Literal["left", "right"] = "left" if one.lower else "right"
    dose = Dose(one.family, one.analyte, high, one.needs, ())
    is_concerned = (
        pl.lit(True) if one.serials is None else pl.col("serial").is_in(one.serials.implode())
    )
    return (
        context.spans.filter("last", is_concerned)
        .join(
            fleet.select(
                "unit", years=(pl.min_horizontal("ends", pl.lit(end)) - today - 1) / DAYS_PER_YEAR
            ),
            on="unit",
        )
        .join(values, on="sample")
        .filter(pl.col("value").is_between(low, high, closed=closed))
        .select(
            "unit", "value", "needs", "alike", "years", protected=protected(context, dose.needs)
        )
    )


def _breaks_others(context: FieldContext, one: Moved) -> pl.Expr:
    """Whether a sample breaks another maximum of the family that needs the same ability."""
    others = context.grounds.limits.filter(
        pl.col("family") == one.family,
        pl.col("needs") == one.needs,
        pl.col("analyte") != one.analyte,
    )
    broken = [pl.col(name) > limit for name, limit in others.select("analyte", "limit").rows()]
    return pl.any_horizontal(broken).fill_null(False) if broken else pl.lit(False)


def _failures(
    context: FieldContext,
    one: Moved,
    own: pl.DataFrame,
    factor: np.ndarray,
    random: np.random.Generator,
) -> np.ndarray | None:
    """Failures that treatment keeps away, the estimate first, then draws."""
    told_limit = one.before if np.isfinite(one.before) else one.after
    table = context.once("dose bins", lambda: dose_bins(context)).filter(
        pl.col("analyte") == one.analyte
    )
    if table.is_empty():  # the terms set no maximum of it yet
        names = [name for name in (one.family, ALL) if name in (*context.grounds.needing, ALL)]
        table = pl.concat(
            bins_of_dose(context, Dose(name, one.analyte, told_limit, one.needs, ("water",)))
            for name in names
        )
    table = table.filter(pl.col("event") == "water", pl.col("days") == "unprotected")
    # Bins go by the maximum of the family's newest edition, whichever limit moves.
    maxima: dict[str, float] = dict(table.select("family", "limit").rows())
    limit = maxima.get(one.family, maxima.get(ALL, told_limit))
    binned = own.with_columns(bin=pl.Series(bins_of(own["value"].to_numpy(), limit)))
    total = np.zeros(_DRAWS + 1)
    for number, years in binned.group_by("bin").agg(pl.col("years").sum()).sort("bin").rows():
        rows = table.filter(pl.col("bin") == number, pl.col("unit_years") > 0)
        # A family with few failures at these values goes by all families.
        kept = rows.filter(pl.col("family") == one.family, pl.col("failures") >= FEWEST_FAILURES)
        kept = kept if kept.height else rows.filter(pl.col("family") == ALL)
        if kept.is_empty():
            return None
        count, watched = kept.select("failures", "unit_years").row(0)
        drawn = random.standard_gamma(count + 0.5, _DRAWS) / watched
        total += years * np.insert(drawn, 0, count / watched) * factor
    return total


def _cost(context: FieldContext, family: str) -> tuple[float, float]:
    """Mean cost of a water-caused failure of a family, or of all, and its relative error."""
    water = costed(context, context.failures.filter("water_related"))
    own = water.filter(pl.col("family") == family)["cost"]
    costs = own if len(own) >= FEWEST else water["cost"]
    if not len(costs) or not costs.sum():
        return 0.0, 0.0
    mean, spread = mean_of(costs), spread_of(costs)
    return mean, spread / mean / float(np.sqrt(len(costs)))
