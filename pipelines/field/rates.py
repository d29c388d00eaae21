"""Figure 1: failures per 100 unit-years.

Belongs here: counts, exposure, rates and their limits for any slice. Does not belong here: how
regions compare (`regions`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, UNIT_DIMENSIONS, FieldContext
from pipelines.field.episodes import episodes
from pipelines.field.poisson import DAYS_PER_YEAR, garwood_limits, robust_limits
from pipelines.field.slices import NO_EXPOSURE, NO_FAILURES, Slice, labelled, thin
from schemas import codes

COLUMNS = (
    "failures",
    "units",
    "unit_years",
    "rate_per_100",
    "low",
    "high",
    "robust_low",
    "robust_high",
)


def rates(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Rates of one slice.

    A slice by cause class parts the failures only: units and unit-years stay everyone's. A slice
    by treatment splits a unit's days at each change of state. Groups without any failure are
    there, with their upper limit; groups that nobody watched say so.
    """
    return labelled(rated(context, dims), dims, COLUMNS)


class Exposure(NamedTuple):
    """The time at risk in a slice, whatever failed there.

    groups: the dimensions but the cause class, with `group`; own: group, unit, days.
    """

    groups: pl.DataFrame
    own: pl.DataFrame


def exposure_of(context: FieldContext, dims: Slice) -> Exposure:
    """The days at risk of every unit in each group of a slice."""
    placed = _placed(dims)
    groups = grid(context, dims).select(placed).unique(maintain_order=True).with_row_index("group")
    by_state = "treatment" in dims
    own = episodes(context, by_state=by_state).join(groups, on=placed)
    own = own.select("group", "unit", "days")
    if by_state or context.by_day:  # a unit may come back to a state, or to the days chosen
        own = own.group_by("group", "unit").agg(pl.col("days").sum())
    return Exposure(groups, own)


def rated(context: FieldContext, dims: Slice, exposure: Exposure | None = None) -> pl.DataFrame:
    """The same without common labels: `dims`, `COLUMNS`, thin and note.

    `exposure` is `exposure_of` the same units and slice, where it is at hand.
    """
    groups, own = exposure or exposure_of(context, dims)
    placed = _placed(dims)
    of_class = [name for name in dims if name == "cause_class"]
    failing = (
        context.failures.join(groups, on=placed)
        .group_by("group", *of_class, "unit")
        .agg(f=pl.len().cast(pl.Int64))
    )
    # Whole days are summed, so that no order of rows shows in the last digit.
    f, days = pl.col("f"), pl.col("days")
    counted = (
        failing.join(own, on=["group", "unit"])
        .group_by("group", *of_class)
        .agg(
            failures=f.sum(),
            f_f=(f * f).sum().cast(pl.Float64),
            f_y=(f * days).sum() / DAYS_PER_YEAR,
        )
    )
    exposed = own.group_by("group").agg(
        units=pl.len().cast(pl.Int64),
        unit_years=days.sum() / DAYS_PER_YEAR,
        y_y=(days * days).sum() / DAYS_PER_YEAR**2,
    )
    table = grid(context, dims).join(groups, on=placed).join(exposed, on="group", how="left")
    table = table.join(counted, on=["group", *of_class], how="left")
    return with_limits(table).sort(FLEET, *dims)


def _placed(dims: Slice) -> list[str]:
    """The dimensions that place a unit's days; a class parts the failures only."""
    return [FLEET, *(name for name in dims if name != "cause_class")]


def grid(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Every group that could be: those of units, crossed with classes and states."""
    return context.once(("grid", dims), lambda: _grid(context, dims))


def _grid(context: FieldContext, dims: Slice) -> pl.DataFrame:
    placed = [name for name in dims if name in UNIT_DIMENSIONS]
    whole = pl.select(pl.lit(0, pl.Int8).alias(FLEET))  # also where there is no unit
    groups = context.units.select(FLEET, *placed).unique() if placed else whole
    words = {"cause_class": context.classes, "treatment": codes.TREATMENT_STATES}
    for name in dims:
        if name in words:
            several = pl.DataFrame({name: words[name]}, schema={name: pl.String})
            groups = groups.join(several, how="cross")
    return groups


def with_limits(table: pl.DataFrame) -> pl.DataFrame:
    """Adds rate and limits to failures, units, unit_years and the sums f_f, f_y, y_y."""
    table = table.with_columns(
        pl.col("failures", "units").fill_null(0),
        pl.col("unit_years", "f_f", "f_y", "y_y").fill_null(0.0),
    )
    count, units, years, f_f, f_y, y_y = (
        table[name].to_numpy().astype(float)
        for name in ("failures", "units", "unit_years", "f_f", "f_y", "y_y")
    )
    low, high = garwood_limits(count)
    robust_low, robust_high = robust_limits(count, units, years, (f_f, f_y, y_y))
    per_100 = np.divide(100.0, years, out=np.full(len(years), np.nan), where=years > 0)
    some = pl.col("unit_years") > 0
    return table.with_columns(
        rate_per_100=pl.Series(count * per_100),
        low=pl.Series(low * per_100),
        high=pl.Series(high * per_100),
        robust_low=pl.Series(100 * robust_low),
        robust_high=pl.Series(100 * robust_high),
        thin=thin(),
        note=pl.when(~some)
        .then(pl.lit(NO_EXPOSURE))
        .when(pl.col("failures") == 0)
        .then(pl.lit(f"robust limits {NO_FAILURES}"))
        .when(pl.col("units") == 1)
        .then(pl.lit("robust limits cannot be estimated, because there is a single unit")),
    )
