"""Figure 8: what a forecast made on a day rests on, whatever it is sliced by.

Belongs here: fleet, rates, days to come, what a failure costs, draws of all of them, put together
once a day. Does not belong here: slices and rows (`forecast`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from pipelines.field.calendar_months import months_between
from pipelines.field.context import FieldContext
from pipelines.field.days_to_come import (
    MONTHS,
    DaysToCome,
    Shipments,
    days_of_installed,
    days_of_one_shipped,
    days_of_sold,
    shipments_to_come,
)
from pipelines.field.dimensions import BANDS
from pipelines.field.forecast_draws import DRAWS, Cells
from pipelines.field.hindsight import failures_known, fleet_known, months_on
from pipelines.field.monthly import monthly_days
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rate_model import RateModel, fit_rates
from pipelines.field.reporting_lag import lag_law

BASES = ("installed", "sales")
_SEED = 19


@dataclass(frozen=True)
class Outlook:
    """What a forecast made on a day knows.

    fleet, failures: of `hindsight`. months: first days of the twelve to come. until: the day after
    the last that is looked at. model: None where nothing has failed. days: by basis. cells:
    family, needs, age of the cells that days fall in. rates: of each cell at the best terms; drawn:
    by basis.
    """

    made_on: date
    fleet: pl.DataFrame
    failures: pl.DataFrame
    months: list[date]
    until: date
    model: RateModel | None
    days: dict[str, DaysToCome]
    shipments: dict[str, Shipments]
    cells: pl.DataFrame
    rates: np.ndarray
    season: np.ndarray
    drawn: dict[str, Cells]

    def random(self, *purpose: int) -> np.random.Generator:
        """Random numbers that the same day and purpose give again."""
        return np.random.Generator(np.random.SFC64([_SEED, self.made_on.toordinal(), *purpose]))

    def years(self, basis: str, groups: np.ndarray, count: int) -> np.ndarray:
        """Unit-years to come: groups x cells x months; `groups` of each kind of units."""
        known = self.days[basis]
        pairs = self.cells.select("family", "needs").unique(maintain_order=True)
        place = known.kinds.join(
            pairs.with_row_index("pair"), on=["family", "needs"], maintain_order="left"
        )["pair"].to_numpy()
        table = np.zeros((count, pairs.height, *known.days.shape[1:]))
        np.add.at(table, (groups, place), known.days / DAYS_PER_YEAR)
        return table.reshape(count, pairs.height * known.days.shape[1], known.days.shape[2])


def outlook(context: FieldContext, made_on: date) -> Outlook:
    """What a forecast made on that day knows, put together once.

    Where the twelfth month is not over by the as-of day it ends with that day, for a day of the
    past.
    """
    return context.once(("outlook", made_on), lambda: _outlook(context, made_on))


def _outlook(context: FieldContext, made_on: date) -> Outlook:
    fleet, failures = fleet_known(context, made_on), failures_known(context, made_on)
    law = lag_law(failures["failed_on"], failures["opened_on"], made_on)
    model = fit_rates(monthly_days(context), failures, made_on, law)
    first = months_on(made_on.replace(day=1), 1)
    months = months_between(first, months_on(first, MONTHS))
    closing = months[-1]
    today = context.as_of + timedelta(days=1)
    until = min(closing, today) if made_on < context.as_of and months[-2] < today else closing
    bounds = np.array([*months[:-1], until], dtype="datetime64[D]").astype(np.int64)
    shipments = shipments_to_come(fleet, made_on)
    one, sizes = days_of_one_shipped(fleet, made_on)
    share = (until - months[-2]).days / (closing - months[-2]).days
    days = {
        "installed": days_of_installed(fleet, bounds),
        "sales": days_of_sold(
            one, sizes, {name: own.expected for name, own in shipments.items()}, share
        ),
    }
    pairs = pl.concat([own.kinds.select("family", "needs") for own in days.values()]).unique()
    cells = pairs.sort("family", "needs").join(
        pl.DataFrame({"age": BANDS}), how="cross", maintain_order="left_right"
    )
    prospects = Outlook(
        *(made_on, fleet, failures, months[:-1], until, model, days, shipments, cells),
        rates=np.zeros(cells.height),
        season=np.ones(MONTHS),
        drawn={},
    )
    if model is not None:
        best = model.fit.terms[None, :]
        prospects.rates[:] = model.by_cell(cells, best)[:, 0]
        prospects.season[:] = model.by_month(months[:-1], best)[:, 0]
        prospects.drawn.update(_drawn(prospects, model, one, sizes, share))
    return prospects


def _drawn(
    prospects: Outlook, model: RateModel, one: DaysToCome, sizes: dict[str, int], share: float
) -> dict[str, Cells]:
    terms = model.draws(DRAWS, prospects.random(1))
    names = sorted(set(prospects.cells["family"]))
    place = {name: n for n, name in enumerate(names)}
    family = np.array([place[name] for name in prospects.cells["family"]], dtype=np.int64)
    rates = model.by_cell(prospects.cells, terms) / model.skew(prospects.cells)[:, None]
    by_month = model.by_month(prospects.months, terms)
    sold = np.ones((len(names), MONTHS, DRAWS))
    random = prospects.random(2)
    for name, own in prospects.shipments.items():
        if name in place and one.kinds.height:
            sold[place[name]] = _over_expected(own, name, one, sizes, prospects, random)
    return {
        "installed": Cells(rates, by_month, family, None),
        "sales": Cells(rates, by_month, family, sold),
    }


def _over_expected(
    own: Shipments,
    name: str,
    one: DaysToCome,
    sizes: dict[str, int],
    prospects: Outlook,
    random: np.random.Generator,
) -> np.ndarray:
    """What drawn shipments come to in failures, over those expected, by month to come."""
    counts = own.draw(DRAWS, random)
    of_family = one.kinds["family"].to_numpy() == name
    pairs = prospects.cells.select("family", "needs").unique(maintain_order=True)
    at = (
        one.kinds.filter(pl.Series(of_family))
        .join(pairs.with_row_index("pair"), on=["family", "needs"], maintain_order="left")["pair"]
        .to_numpy()
    )
    rate = prospects.rates.reshape(-1, len(BANDS))[at]
    # Failures of one unit shipped, by months since then.
    each = (one.days[of_family] * rate[:, :, None]).sum(axis=(0, 1)) / max(sizes.get(name, 0), 1)
    ratios = np.ones((MONTHS, DRAWS))
    for month in range(1, MONTHS + 1):
        weights = each[month - np.arange(month + 1)]
        usual = float((own.expected[: month + 1] * weights).sum())
        if usual > 0:
            ratios[month - 1] = counts[:, : month + 1] @ weights / usual
    return ratios
