"""Figure 8: failures and cost of the next twelve months, by month and for the year.

Belongs here: the tables `forecast` and `forecast_year`. Does not belong here: rates (`rate_model`),
days to come (`days_to_come`), how earlier forecasts came out (`forecast_record`).

A group's failures of a part (cause class) go by the rates of its families, waters and ages, times
its own experience with them, shrunk toward the fleet's by the gamma-Poisson model. The limits of
the year are those of the months' sums, draw by draw.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.failure_cost import WHOLE, failure_cost, mix_of_groups
from pipelines.field.forecast_draws import DRAWS, Drawn, Money, drawn
from pipelines.field.forecast_groups import Groups, groups_of
from pipelines.field.forecast_rows import COLUMNS, BasisForecast, rows_of
from pipelines.field.hindsight import months_on
from pipelines.field.outlook import BASES, Outlook, outlook
from pipelines.field.slices import Slice, labelled

BACK_MONTHS = (12, 15, 18, 21, 24)
FEWEST_WATCHED_MONTHS = 24


def forecast(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """The coming twelve months, month by month; for the fleet also as of earlier days."""
    return _labelled(context, dims, year=False)


def forecast_year(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """The same for the twelve months together; `month` is the first of them."""
    return _labelled(context, dims, year=True)


def days_made_on(context: FieldContext, dims: Slice) -> list[date]:
    """The days of the forecasts of a slice: today; and of the fleet, those of the record."""
    if dims:
        return [context.as_of]
    first: date | None = context.units.select(pl.col("watched_from").min()).item()
    back = [months_on(context.as_of, -months) for months in reversed(BACK_MONTHS)]
    kept = [
        day for day in back if first is not None and months_on(day, -FEWEST_WATCHED_MONTHS) >= first
    ]
    return [*kept, context.as_of]


def forecasts(context: FieldContext, dims: Slice, made_on: date) -> dict[str, pl.DataFrame]:
    """Made on one day: `months` and `year`, with `dims` and COLUMNS, thin and note."""
    return context.once(("forecasts", dims, made_on), lambda: _made(context, dims, made_on))


def _labelled(context: FieldContext, dims: Slice, *, year: bool) -> pl.DataFrame:
    kind = "year" if year else "months"
    parts = [forecasts(context, dims, day)[kind] for day in days_made_on(context, dims)]
    order = pl.col("basis").cast(pl.Enum([*BASES, "all"]))
    table = pl.concat(parts).sort(*dims, "as_of", order, "month")
    return labelled(table, dims, COLUMNS)


def _made(context: FieldContext, dims: Slice, made_on: date) -> dict[str, pl.DataFrame]:
    prospects = outlook(context, made_on)
    groups = groups_of(context, prospects, dims)
    own_dims = tuple(name for name in dims if name != "cause_class")
    families = sorted(set(prospects.cells["family"]))
    costs = failure_cost(context, prospects.failures, families, groups.parts)
    mix = np.ones(groups.table.height)
    if groups.parts == [WHOLE]:
        mix = mix_of_groups(context, prospects.failures, groups.table, own_dims)
    factor = costs.factors(context, DRAWS, prospects.random(3))
    one, other = (
        _basis(prospects, groups, basis, costs.mean, costs.variation, mix, factor)
        for basis in BASES
    )
    draws = None
    if one.draws is not None and other.draws is not None:
        draws = Drawn(*(a + b for a, b in zip(one.draws, other.draws, strict=True)))
    both = BasisForecast(
        one.mean + other.mean, one.cost + other.cost, one.units + other.units, draws
    )
    by_basis = dict(zip((*BASES, "all"), (one, other, both), strict=True))
    return {
        kind: rows_of(context, prospects, groups, dims, by_basis, kind == "year")
        for kind in ("months", "year")
    }


def _basis(
    prospects: Outlook,
    groups: Groups,
    basis: str,
    cost: np.ndarray,
    variation: np.ndarray,
    mix: np.ndarray,
    factor: np.ndarray,
) -> BasisForecast:
    """What is to be expected of one basis."""
    keys = groups.table.columns
    numbered = groups.table.with_row_index("group")
    kinds = prospects.days[basis].kinds
    place = kinds.join(numbered, on=keys, maintain_order="left", how="left")["group"].to_numpy()
    years = prospects.years(basis, place.astype(np.int64), groups.table.height)
    units = years.sum(axis=1) * 12
    family = {name: n for n, name in enumerate(sorted(set(prospects.cells["family"])))}
    of_cell = np.array([family[name] for name in prospects.cells["family"]], dtype=np.int64)
    each = years * prospects.rates[None, :, None] * prospects.season
    by_family = np.zeros((years.shape[0], max(len(family), 1), years.shape[2]))
    for name in range(len(family)):
        by_family[:, name] = each[:, of_cell == name].sum(axis=1)
    mean = by_family.sum(axis=1)[:, None, :] * groups.ratios[:, :, None]
    costs = cost if len(family) else np.zeros((1, len(groups.parts)))
    money = np.einsum("gfm,fp->gpm", by_family, costs) * groups.ratios[:, :, None]
    money = money * mix[:, None, None]
    if prospects.model is None:
        return BasisForecast(mean, money, units, None)
    level = np.divide(money, mean, out=np.zeros_like(money), where=mean > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        weights = by_family.sum(axis=2) / by_family.sum(axis=(1, 2))[:, None]
    spread = np.nan_to_num(weights) @ variation
    amounts = Money(level, spread, factor)
    random = prospects.random(5, BASES.index(basis), len(keys), groups.table.height)
    draws = drawn(
        years, prospects.drawn[basis], groups.drawn, prospects.model.dispersion, amounts, random
    )
    return BasisForecast(mean, money, units, draws)
