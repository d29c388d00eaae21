"""Figure 8: the rows of one forecast, with what came of it and what is to be said of it.

Belongs here: laying out expected figures, limits and actuals. Does not belong here: what is
expected (`forecast`), draws (`forecast_draws`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.failure_cost import costed
from pipelines.field.forecast_draws import Drawn, limits
from pipelines.field.forecast_groups import Groups
from pipelines.field.hindsight import months_on
from pipelines.field.outlook import BASES, Outlook
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, Slice

COLUMNS = (
    "as_of",
    "basis",
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
    "actual_cost",
)
_NO_RATE = "cannot be estimated, because there was no failure"
_NO_COVER = "no unit is covered in this month"
_NO_SALES = "no unit was shipped in the last year, so none is expected to be"
_NO_COST = (
    "limits of the cost cannot be estimated, because nothing was payable for the failures so far"
)
_CUT = "the last month ends with {}"


class BasisForecast(NamedTuple):
    """Of one basis: expected failures and cost (groups x parts x months), units at risk (groups x
    months), and the draws; None: nothing has failed."""

    mean: np.ndarray
    cost: np.ndarray
    units: np.ndarray
    draws: Drawn | None


def rows_of(
    context: FieldContext,
    prospects: Outlook,
    groups: Groups,
    dims: Slice,
    by_basis: dict[str, BasisForecast],
    year: bool,
) -> pl.DataFrame:
    """The rows by basis, group, part and month, or for the year."""
    months = prospects.months[:1] if year else prospects.months
    table = pl.DataFrame({"basis": [*by_basis]}).join(
        groups.table, how="cross", maintain_order="left_right"
    )
    if "cause_class" in dims:
        classes = pl.DataFrame({"cause_class": groups.parts}, schema={"cause_class": pl.String})
        table = table.join(classes, how="cross", maintain_order="left_right")
    table = table.join(pl.DataFrame({"month": months}), how="cross", maintain_order="left_right")
    parts = [_columns(own, year) for own in by_basis.values()]
    rows = table.with_columns(
        as_of=pl.lit(prospects.made_on),
        **{
            name: pl.Series(
                np.concatenate([part[name].reshape(-1) for part in parts]), dtype=pl.Float64
            )
            # In one order, whether or not there are draws: rows of several days are put together.
            for name in (*COLUMNS, "units")
            if name in parts[0]
        },
    )
    rows = _with_actuals(rows, context, prospects, dims, year=year)
    return _described(rows, context, prospects, year)


def _columns(of_basis: BasisForecast, year: bool) -> dict[str, np.ndarray]:
    """The figures of one basis by name, each groups x parts x months."""
    mean, cost, units, draws = of_basis
    units = np.repeat(units[:, None, :], mean.shape[1], axis=1)
    parts: tuple[np.ndarray, ...] | None = None if draws is None else (draws.failures, draws.cost)
    if year:
        mean, cost = (table.sum(axis=2, keepdims=True) for table in (mean, cost))
        units = units.max(axis=2, keepdims=True)
        parts = parts and tuple(table.sum(axis=2, keepdims=True) for table in parts)
    columns = {"failures": mean, "cost": cost, "units": units}
    if parts is None:
        bounds = [name for name in COLUMNS if "low_" in name or "high_" in name]
        return columns | {name: np.full(mean.shape, np.nan) for name in bounds}
    for prefix, values in zip(("", "cost_"), parts, strict=True):
        for name, limit in limits(values, whole=not prefix).items():
            columns[prefix + name] = limit
    return columns


def _with_actuals(
    rows: pl.DataFrame, context: FieldContext, prospects: Outlook, dims: Slice, *, year: bool
) -> pl.DataFrame:
    """With what came of a forecast of an earlier day: actual, actual_cost; null where none did."""
    if prospects.made_on >= context.as_of:
        return rows.with_columns(
            actual=pl.lit(None, pl.Int64), actual_cost=pl.lit(None, pl.Float64)
        )
    happened = pl.concat(
        _happened(context, prospects, dims, basis, year=year).with_columns(basis=pl.lit(basis))
        for basis in (*BASES, "all")
    )
    return rows.join(happened, on=["basis", *dims, "month"], how="left", maintain_order="left")


def _happened(
    context: FieldContext, prospects: Outlook, dims: Slice, basis: str, *, year: bool
) -> pl.DataFrame:
    """Failures of the units of a basis in the months, and their cost: dims, month, actual."""
    first = pl.lit(prospects.months[0])
    inside = (pl.col("failed_on") >= first) & (pl.col("failed_on") < prospects.until)
    failures = costed(context, context.failures.filter(inside))
    out = prospects.fleet.select("unit")
    if basis != "all":
        failures = failures.join(out, on="unit", how="semi" if basis == "installed" else "anti")
    month = first if year else pl.col("failed_on").dt.truncate("1mo")
    return failures.group_by(*dims, month=month).agg(
        actual=pl.len().cast(pl.Int64),
        actual_cost=pl.col("cost").sum().round(2, mode="half_away_from_zero"),
    )


def _described(
    rows: pl.DataFrame, context: FieldContext, prospects: Outlook, year: bool
) -> pl.DataFrame:
    """With actuals where the time is over, what is not known as null, thin and note."""
    past = prospects.made_on < context.as_of
    ends = (
        pl.lit(prospects.until)
        if year
        else pl.min_horizontal(pl.col("month").dt.offset_by("1mo"), pl.lit(prospects.until))
    )
    over = pl.lit(past) & ((ends - pl.lit(context.as_of)).dt.total_days() <= 1)
    none = pl.col("units") == 0
    known = pl.lit(prospects.model is not None) | none
    closes = months_on(prospects.months[-1], 1)
    last = pl.lit(year) | (pl.col("month") == prospects.months[-1])
    free = (pl.col("failures") > 0) & (pl.col("cost") == 0)
    cut = pl.lit(prospects.until < closes) & last
    empty = pl.when(pl.col("basis") == "sales").then(pl.lit(_NO_SALES)).otherwise(pl.lit(_NO_COVER))
    yearly = pl.col("failures") * (1 if year else 12)
    return rows.with_columns(
        actual=pl.when(over).then(pl.col("actual").fill_null(0)),
        actual_cost=pl.when(over).then(pl.col("actual_cost").fill_null(0.0)),
        failures=pl.when(known).then("failures"),
        cost=pl.when(known).then("cost"),
        **{name: pl.when(~free).then(name) for name in COLUMNS if name.startswith("cost_")},
        thin=(yearly < FEWEST_FAILURES) | (pl.col("units") < FEWEST_UNITS),
        note=pl.when(none).then(empty)
        .when(~known).then(pl.lit(_NO_RATE))
        .when(cut).then(pl.lit(_CUT.format(prospects.until)))
        .when(free).then(pl.lit(_NO_COST)),
    ).drop("units")  # fmt: skip
