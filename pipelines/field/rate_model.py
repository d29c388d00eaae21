"""Figure 8: the rates that a forecast rests on, a Poisson regression on past days.

Belongs here: the regression by family, needs and age band, its trend and its seasons, and draws of
its terms. Does not belong here: which days are to come (`days_to_come`), the forecast.

Levels with fewer than 5 failures have a faint normal prior (standard deviation 3 on the log scale),
without which one that never failed would have no term. A trend or a season that the data leave open
is not used. Days of the latest months count by the share of their failures that has been reported
by then.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.monthly import CELLS
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.poisson_regression import Fit, chance_of, fitted
from pipelines.field.reporting_lag import share_reported

TREND_YEARS = 3.0
FEWEST_MONTHS, SIGNIFICANT = 24, 0.01
FEWEST_OF_A_SET, RARE = 5, "rare"
_LEAST_REPORTED = 0.1
_PRIOR = 1 / 9
# Standard error on the log scale beyond which the data leave a term open, as they do where failures
# begin within the last year: a trend without end then fits best.
_OPEN = 4.0


class RateModel(NamedTuple):
    """The fitted rates.

    levels: by `family`, `needs`, `age` the levels that have a term, the reference first. names and
    fit: of the terms in their order. trend_p, season_p: of their tests; None: too few months.
    """

    levels: dict[str, list[str]]
    names: list[str]
    fit: Fit
    trend: bool
    season: bool
    trend_p: float | None
    season_p: float | None
    dispersion: float

    def design(self, cells: pl.DataFrame) -> np.ndarray:
        """The terms of cells (family, needs, age) but trend and season; one row a cell."""
        return _design(cells, self.levels)

    def draws(self, count: int, random: np.random.Generator) -> np.ndarray:
        """Terms drawn from their normal approximation, widened by the dispersion (draws first)."""
        size = len(self.fit.terms)
        root = np.linalg.cholesky(self.fit.covariance + 1e-12 * np.eye(size))
        shifts = random.standard_normal((count, size)) @ root.T
        drawn: np.ndarray = self.fit.terms + np.sqrt(self.dispersion) * shifts
        return drawn

    def by_cell(self, cells: pl.DataFrame, terms: np.ndarray) -> np.ndarray:
        """Failures a unit-year of cells at the as-of day; terms: of one draw a row."""
        design = self.design(cells)
        rates: np.ndarray = np.exp(np.clip(design @ terms.T[: design.shape[1]], -30, 10))
        return rates

    def skew(self, cells: pl.DataFrame) -> np.ndarray:
        """By how much the mean of a cell's drawn rates exceeds its rate, as a factor."""
        design = self.design(cells)
        own = self.fit.covariance[: design.shape[1], : design.shape[1]]
        variance = self.dispersion * np.einsum("ij,jk,ik->i", design, own, design)
        factors: np.ndarray = np.exp(variance / 2)
        return factors

    def by_month(self, months: list[date], terms: np.ndarray) -> np.ndarray:
        """What the month of the year multiplies rates by (months x draws)."""
        if not self.season:
            return np.ones((len(months), len(terms)))
        logs = np.zeros((len(months), len(terms)))
        first = self.names.index("month_of_year=02")
        for place, month in enumerate(months):
            if month.month > 1:
                logs[place] = terms[:, first + month.month - 2]
        return np.exp(logs)


def fit_rates(
    days: pl.DataFrame, failures: pl.DataFrame, made_on: date, law: np.ndarray
) -> RateModel | None:
    """The regression on the months that are over by a day; None where nothing failed in them.

    Args:
        days: of `monthly.monthly_days`.
        failures: those known by that day: family, needs, band, failed_on.
        made_on: the day.
        law: shares of failures reported after so many days.
    """
    cells = _cells(days, failures, made_on, law)
    if cells["y"].sum() == 0:
        return None
    cells, levels = _with_levels(cells)
    y, years = cells["y"].to_numpy().astype(float), cells["years"].to_numpy()
    base = _design(cells, levels)
    names = ["level", *(f"{kind}={level}" for kind in levels for level in levels[kind][1:])]
    # Rows alike in the design are taken together where that leaves the likelihood as it is.
    kind = cells.select(pl.struct(*levels).rank("dense") - 1).to_series().to_numpy().astype(int)
    first = np.unique(kind, return_index=True)[1]
    fit = fitted(
        base[first],
        np.bincount(kind, y),
        np.bincount(kind, years),
        _prior(base, y),
    )
    when = cells["month"].to_numpy()
    age = (np.datetime64(made_on, "D") - when).astype("timedelta64[D]").astype(float) - 15
    trend = -np.clip(age / DAYS_PER_YEAR, 0, TREND_YEARS)
    design, used, chances = base, {"trend": False, "season": False}, {}
    if cells["month"].n_unique() >= FEWEST_MONTHS:
        season = [when.astype("datetime64[M]").astype(int) % 12 == m for m in range(1, 12)]
        more = {
            "trend": (["trend"], trend[:, None]),
            "season": (
                [f"month_of_year={m:02d}" for m in range(2, 13)],
                np.column_stack(season).astype(float),
            ),
        }
        for test, (words, columns) in more.items():
            wider = np.column_stack([design, columns])
            other = fitted(
                wider, y, years, _prior(wider, y), np.append(fit.terms, np.zeros(len(words)))
            )
            chances[test] = chance_of(2 * (other.likelihood - fit.likelihood), len(words))
            if chances[test] < SIGNIFICANT and np.diag(other.covariance).max() < _OPEN**2:
                fit, design, names = other, wider, [*names, *words]
                used[test] = True
    spread = _dispersion(cells, years * np.exp(design @ fit.terms), design.shape[1] - base.shape[1])
    return RateModel(
        levels, names, fit, used["trend"], used["season"],
        chances.get("trend"), chances.get("season"), spread,
    )  # fmt: skip


def _cells(
    days: pl.DataFrame, failures: pl.DataFrame, made_on: date, law: np.ndarray
) -> pl.DataFrame:
    """The cells of the months that are over: CELLS, y and years, by reported share."""
    over = pl.col("month").dt.offset_by("1mo") <= made_on + timedelta(days=1)
    counted = failures.group_by(
        "family", "needs", age="band", month=pl.col("failed_on").dt.truncate("1mo")
    ).agg(y=pl.len())
    months = days.filter(over)["month"].unique().sort()
    shares = [_reported(month, made_on, law) for month in months]
    share = pl.DataFrame({"month": months, "share": shares}, schema_overrides={"share": pl.Float64})
    return (
        days.filter(over)
        .join(share, on="month")
        .filter(pl.col("share") >= _LEAST_REPORTED, pl.col("days") > 0)
        .join(counted, on=CELLS, how="left")
        .with_columns(
            pl.col("y").fill_null(0), years=pl.col("days") / DAYS_PER_YEAR * pl.col("share")
        )
        .sort(CELLS)
    )


def _reported(month: date, made_on: date, law: np.ndarray) -> float:
    """The mean share of the failures of a month's days that is reported by a day."""
    following = (month.replace(day=28) + timedelta(days=4)).replace(day=1)
    ago = (made_on - month).days - np.arange((following - month).days)
    return float(share_reported(law, ago).mean())


def _with_levels(cells: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, list[str]]]:
    """Sets of needs with few failures together, and the levels, those that fail most first."""
    few = cells.group_by("needs").agg(pl.col("y").sum()).filter(pl.col("y") < FEWEST_OF_A_SET)
    rare = pl.col("needs").is_in(few["needs"].implode())
    cells = cells.with_columns(needs=pl.when(rare).then(pl.lit(RARE)).otherwise("needs"))
    levels = {}
    for kind in ("family", "needs", "age"):
        order = (
            cells.group_by(kind).agg(pl.col("y").sum()).sort("y", kind, descending=[True, False])
        )
        levels[kind] = order[kind].to_list()
    return cells, levels


def _design(cells: pl.DataFrame, levels: dict[str, list[str]]) -> np.ndarray:
    """A level, and a column for every level but the reference; a level not known is that one,
    but a set of needs that is not is a rare one."""
    columns = [np.ones(cells.height)]
    for kind, own in levels.items():
        known = {level: place for place, level in enumerate(own)}
        unknown = known.get(RARE, 0) if kind == "needs" else 0
        place = cells[kind].replace_strict(known, default=unknown, return_dtype=pl.Int64)
        columns += [np.eye(len(own))[place.to_numpy(), 1:]]
    return np.column_stack(columns)


def _prior(design: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The precision of each term's prior: none but of levels with few failures."""
    levels = ((design == 0) | (design == 1)).all(axis=0)
    few = levels & (y @ design < FEWEST_OF_A_SET)
    few[0] = False
    prior: np.ndarray = np.where(few, _PRIOR, 0.0)
    return prior


def _dispersion(cells: pl.DataFrame, mean: np.ndarray, more: int) -> float:
    """Pearson's chi-square over its degrees of freedom, over family x month; at least 1."""
    # Summed in the order of the cells, so that the same inputs give the same last digit.
    pairs = cells.select(pl.struct("family", "month").rank("dense") - 1).to_series()
    place = pairs.to_numpy().astype(int)
    count, usual = np.bincount(place, cells["y"].to_numpy()), np.bincount(place, mean)
    freedom = len(count) - cells["family"].n_unique() - more
    if freedom < 1:
        return 1.0
    return max(1.0, float(((count - usual) ** 2 / usual).sum()) / freedom)
