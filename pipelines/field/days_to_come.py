"""Figure 8: the days that units will be at risk, from those that are out and those to be sold.

Belongs here: unit-days by month to come, cell of the rate model and group, and shipments to come.
Does not belong here: rates (`rate_model`), draws and limits (`forecast_draws`).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, UNIT_DIMENSIONS
from pipelines.field.dimensions import BAND_STARTS, BANDS
from pipelines.field.hindsight import SALES_MONTHS, months_on
from pipelines.field.laws import chi_square_above
from pipelines.field.poisson import Z_95
from pipelines.field.rate_model import FEWEST_MONTHS, SIGNIFICANT

MONTHS = 12
KINDS = (FLEET, *UNIT_DIMENSIONS, "needs")
_TREND_MONTHS, _MEAN_MONTHS = 36, 12


class DaysToCome(NamedTuple):
    """Unit-days (kinds x bands x months) of kinds of units: fleet, unit dimensions, needs."""

    kinds: pl.DataFrame
    days: np.ndarray


class Shipments(NamedTuple):
    """Shipments to come of one family, by month: expected, and a function that draws them.

    The first element is what is left of the month in which it was made. trend: a year on, with
    limits; None: not used.
    """

    expected: np.ndarray
    draw: Callable[[int, np.random.Generator], np.ndarray]
    p_value: float | None
    trend: tuple[float, float, float] | None


def _numbered(fleet: pl.DataFrame) -> tuple[pl.DataFrame, np.ndarray]:
    kinds = fleet.select(KINDS).unique().sort(KINDS)
    place = fleet.join(kinds.with_row_index("place"), on=KINDS, maintain_order="left")["place"]
    return kinds, place.to_numpy().astype(np.int64)


def _days_in_bands(
    begin: np.ndarray, end: np.ndarray, born: np.ndarray, kind: np.ndarray, kinds: int
) -> np.ndarray:
    """Unit-days between two days of each unit, by kind and age band."""
    edges = [*BAND_STARTS, 10**6]
    table = np.zeros((kinds, len(BANDS)))
    for band, (low, high) in enumerate(pairwise(edges)):
        days = np.minimum(end, born + high) - np.maximum(begin, born + low)
        table[:, band] = np.bincount(kind, np.maximum(days, 0), minlength=kinds)
    return table


def days_of_installed(fleet: pl.DataFrame, bounds: np.ndarray) -> DaysToCome:
    """Days of units that are out (of `hindsight.fleet_known`) between bounds of months."""
    kinds, place = _numbered(fleet)
    starts, ends = (fleet[name].to_numpy() for name in ("starts", "ends"))
    tables = [
        _days_in_bands(np.maximum(starts, low), np.minimum(ends, high), starts, place, kinds.height)
        for low, high in pairwise(bounds)
    ]
    return DaysToCome(kinds, np.stack(tables, axis=2))


def days_of_one_shipped(fleet: pl.DataFrame, made_on: date) -> tuple[DaysToCome, dict[str, int]]:
    """Days of the units of the last 24 months in the months since they were shipped.

    Returns:
        the days (the third axis: months since that of shipment), and how many units each family
        has among them.
    """
    first = int(np.datetime64(months_on(made_on, -SALES_MONTHS), "D").astype(np.int64))
    recent = fleet.filter(pl.col("shipped") > first)
    kinds, place = _numbered(recent)
    shipped, starts, ends = (recent[name].to_numpy() for name in ("shipped", "starts", "ends"))
    month = shipped.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    oldest = month.min(initial=month.max(initial=0))
    every = np.arange(oldest, month.max(initial=0) + MONTHS + 2).astype("datetime64[M]")
    first_days, since_oldest = every.astype("datetime64[D]").astype(np.int64), month - oldest
    tables = []
    for since in range(MONTHS + 1):
        low, high = (first_days[since_oldest + since + step] for step in (0, 1))
        begin, end = np.maximum(starts, low), np.minimum(ends, high)
        tables.append(_days_in_bands(begin, end, starts, place, kinds.height))
    sizes = dict(recent.group_by("family").len().rows())
    return DaysToCome(kinds, np.stack(tables, axis=2)), sizes


def days_of_sold(
    one: DaysToCome, sizes: dict[str, int], shipments: dict[str, np.ndarray], last_share: float
) -> DaysToCome:
    """Days by month to come of units to be shipped, given how many are shipped when by family.

    `last_share` is the share of the last month that is looked at.
    """
    days = np.zeros((*one.days.shape[:2], MONTHS))
    families = one.kinds["family"].to_numpy()
    for name, count in shipments.items():
        own = families == name
        each = one.days[own] / max(sizes.get(name, 0), 1)
        for month in range(1, MONTHS + 1):
            for sold in range(month + 1):
                days[own, :, month - 1] += count[sold] * each[:, :, month - sold]
    days[:, :, -1] *= last_share
    return DaysToCome(one.kinds, days)


def shipments_to_come(fleet: pl.DataFrame, made_on: date) -> dict[str, Shipments]:
    """Of each family: the mean of its last 12 months, or its log-linear trend over the last 36."""
    closing = made_on + timedelta(days=1)
    rest = (months_on(made_on.replace(day=1), 1) - closing).days / 30.4375
    over = closing.replace(day=1)
    by_family = {}
    for name in sorted(fleet["family"].unique()):
        shipped = fleet.filter(pl.col("family") == name)["shipped"].cast(pl.Date)
        before = shipped.filter(shipped < over)
        if before.is_empty():
            continue
        place = before.to_numpy().astype("datetime64[M]").astype(int)
        closing_month = int(np.datetime64(over, "M").astype(int))
        first = max(int(place.min()), closing_month - _TREND_MONTHS)
        counts = np.bincount(place[place >= first] - first, minlength=closing_month - first)
        by_family[name] = _family(counts.astype(float), rest)
    return by_family


def _family(counts: np.ndarray, rest: float) -> Shipments:
    share = np.append(rest, np.ones(MONTHS))  # of each month to come
    chance = None
    if len(counts) >= FEWEST_MONTHS and counts.sum() > 0:
        when = np.arange(len(counts)) - len(counts)
        terms, covariance, chance, spread = _log_linear(when.astype(float), counts)
        if chance < SIGNIFICANT:
            # What is left of the month that it was made in is the first; none where that is over.
            time = np.arange(MONTHS + 1) - (0.0 if rest else 1.0)
            ahead = np.column_stack([np.ones(MONTHS + 1), time])
            level = np.exp(ahead @ terms) * share
            root = np.linalg.cholesky(covariance * spread)

            def trended(draws: int, random: np.random.Generator) -> np.ndarray:
                drawn = terms + random.standard_normal((draws, 2)) @ root.T
                return _counts(np.exp(drawn @ ahead.T) * share, spread, random)

            error = Z_95 * np.sqrt(covariance[1, 1] * spread)
            slopes = np.array([terms[1], terms[1] - error, terms[1] + error])
            rise, low, high = np.exp(12 * slopes).tolist()
            return Shipments(level, trended, chance, (rise, low, high))
    last = counts[-_MEAN_MONTHS:]
    mean = float(last.mean())
    squares = float(((last - mean) ** 2).sum())
    spread = max(1.0, squares / mean / max(len(last) - 1, 1)) if mean else 1.0

    def level_drawn(draws: int, random: np.random.Generator) -> np.ndarray:
        means = random.standard_gamma(last.sum() / spread + 0.5, draws) * spread / len(last)
        return _counts(means[:, None] * share, spread, random)

    return Shipments(mean * share, level_drawn, chance, None)


def _counts(mean: np.ndarray, spread: float, random: np.random.Generator) -> np.ndarray:
    drawn: np.ndarray = spread * random.poisson(mean / spread)
    return drawn


def _log_linear(
    when: np.ndarray, counts: np.ndarray
) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Terms and covariance of counts on time, p of the slope, dispersion (at least 1)."""
    from scipy.special import xlogy

    design = np.column_stack([np.ones(len(when)), when])
    terms = np.array([np.log(counts.mean()), 0.0])
    information = np.eye(2)
    for _ in range(50):
        mean = np.exp(design @ terms)
        information = design.T @ (design * mean[:, None])
        step = np.linalg.solve(information, design.T @ (counts - mean))
        terms = terms + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-12:
            break
    mean = np.exp(design @ terms)
    usual = counts.mean()
    statistic = 2 * float((xlogy(counts, mean / usual) - (mean - usual)).sum())
    spread = max(1.0, float(((counts - mean) ** 2 / mean).sum() / max(len(counts) - 2, 1)))
    return terms, np.linalg.inv(information), chi_square_above(max(statistic, 0.0), 1), spread
