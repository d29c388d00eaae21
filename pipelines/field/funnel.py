"""How far a region may lie from the common rate by chance.

Belongs here: funnel limits, overdispersion, p-values, the false-discovery rate. Does not belong
here: which groups are compared.
"""

from __future__ import annotations

import numpy as np


def funnel_limits(expected: np.ndarray, tail: float, spread: float = 1.0) -> np.ndarray:
    """The limit of observed/expected with probability `tail` below it.

    Exact Poisson, interpolated between counts (Spiegelhalter 2005): with r the smallest count
    with P(X <= r) >= tail, (r - (P(X <= r) - tail) / P(X = r)) / expected, cut at 0. `spread` is
    the overdispersion; the distance from 1 is widened by its square root.
    """
    from scipy.stats import poisson

    r = poisson.ppf(tail, expected)
    limit = (r - (poisson.cdf(r, expected) - tail) / poisson.pmf(r, expected)) / expected
    widened_limit: np.ndarray = np.maximum(1 + (np.maximum(limit, 0) - 1) * np.sqrt(spread), 0)
    return widened_limit


def overdispersion(observed: np.ndarray, expected: np.ndarray) -> float:
    """Mean squared z after drawing in the outer tenths (Spiegelhalter 2005).

    z = (observed/expected - 1) · sqrt(expected), each tail winsorised at 10 %. Below 1 it counts
    as 1 where limits are widened.
    """
    z = (observed / expected - 1) * np.sqrt(expected)
    low, high = np.quantile(z, [0.1, 0.9])
    return float(np.mean(np.clip(z, low, high) ** 2))


def p_values(observed: np.ndarray, expected: np.ndarray, spread: float = 1.0) -> np.ndarray:
    """Two-sided chance of counts so far from what is expected, for a given overdispersion.

    Twice the smaller exact Poisson tail; its normal deviate is divided by sqrt(spread).
    """
    from scipy.stats import norm, poisson

    tail = np.minimum(poisson.cdf(observed, expected), poisson.sf(observed - 1, expected))
    deviate = norm.isf(np.minimum(tail, 0.5))
    chances: np.ndarray = 2 * norm.sf(deviate / np.sqrt(spread))
    return chances


def q_values(p: np.ndarray) -> np.ndarray:
    """p-values after Benjamini & Hochberg (1995), in their order."""
    from scipy.stats import false_discovery_control

    return false_discovery_control(p) if len(p) else p
