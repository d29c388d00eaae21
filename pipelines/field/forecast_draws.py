"""Figure 8: draws of failures and cost to come, and the limits that they give.

Belongs here: random numbers of a forecast, seeded by its day. Does not belong here: rates, days to
come, what a row says (`forecast`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

DRAWS = 2000
LIMITS = {"low_95": 0.025, "low_80": 0.1, "high_80": 0.9, "high_95": 0.975}


class Cells(NamedTuple):
    """The rate of each cell of the model in each draw, and what multiplies it by month.

    rates: cells x draws. by_month: months x draws. family: the number of each cell's family.
    sold: families x months x draws, shipments over those expected; None: units that are out.
    """

    rates: np.ndarray
    by_month: np.ndarray
    family: np.ndarray
    sold: np.ndarray | None


class Money(NamedTuple):
    """Cost of a failure: mean by group and part and month (groups x parts x months), its
    coefficient of variation, and the factor of each draw that its error comes to."""

    mean: np.ndarray
    variation: np.ndarray
    factor: np.ndarray


class Drawn(NamedTuple):
    """Failures and their cost in each draw: groups x parts x months x draws."""

    failures: np.ndarray
    cost: np.ndarray


def drawn(
    days: np.ndarray,
    cells: Cells,
    ratios: np.ndarray,
    spread: float,
    money: Money,
    random: np.random.Generator,
) -> Drawn:
    """Counts and cost of groups.

    Args:
        days: unit-years, groups x cells x months.
        cells: rates by draw.
        ratios: of a group's failures of a part to those of its cells: groups x parts x draws.
        spread: the dispersion of counts; a count is so many times a Poisson one.
        money: what a failure costs.
    """
    groups, _, months = days.shape
    pairs = groups * ratios.shape[1]  # of a group and a part
    failures = np.zeros((pairs, months, DRAWS), np.float32)
    cost = np.zeros_like(failures)
    variation = (np.maximum(money.variation, 1e-3) ** 2).reshape(pairs)
    level = money.mean.reshape(pairs, months)
    usual = _means(days, cells)
    for month in range(months):
        mean = (usual[:, month, None] * ratios).reshape(pairs, DRAWS)
        some = np.flatnonzero(mean.any(axis=1))  # a mean of 0 takes no random number
        counts = random.poisson(mean[some] / spread)
        failures[some, month] = spread * counts
        place = np.flatnonzero(counts)
        each = np.count_nonzero(counts, axis=1)
        # A sum of so many costs is as a gamma with their mean and variance.
        wide = np.repeat(variation[some], each)
        sums = random.standard_gamma(spread * counts.ravel()[place] / wide) * wide
        pair, draw = np.repeat(some, each), place % DRAWS
        at = (pair * months + month) * DRAWS + draw
        cost.ravel()[at] = sums * np.repeat(level[some, month], each) * money.factor[draw]
    shape = (groups, ratios.shape[1], months, DRAWS)
    return Drawn(failures.reshape(shape), cost.reshape(shape))


def _means(days: np.ndarray, cells: Cells) -> np.ndarray:
    """Failures to expect of groups by the rates of their cells: groups x months x draws."""
    from scipy.sparse import csr_array

    groups, _, months = days.shape
    means = np.zeros((groups, months, DRAWS))
    # Months and shipments multiply all cells of a family alike.
    for family in np.unique(cells.family):
        own = cells.family == family
        # A group has days in few of the cells.
        lived = days[:, own].transpose(0, 2, 1).reshape(groups * months, -1)
        some = lived.any(axis=1)
        if not some.any():
            continue
        expected = csr_array(lived[some]) @ cells.rates[own]
        group, month = np.divmod(np.flatnonzero(some), months)
        if cells.sold is not None:
            expected *= cells.sold[family, month]
        means[group, month] += expected
    means *= cells.by_month
    return means


def limits(draws: np.ndarray, *, whole: bool) -> dict[str, np.ndarray]:
    """Quantiles over the last axis, by name; of counts as whole numbers."""
    some = draws.any(axis=-1)  # draws of 0 alone need no sorting
    ordered = np.zeros_like(draws)
    ordered[some] = np.sort(draws[some], axis=-1)
    last = draws.shape[-1] - 1
    quantiles = {}
    for name, share in LIMITS.items():
        at = share * last
        low = int(at)
        value = ordered[..., low] + (at - low) * (ordered[..., low + 1] - ordered[..., low])
        quantiles[name] = (np.round(value) if whole else value).astype(np.float64)
    return quantiles
