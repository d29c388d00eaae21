"""How far a region may lie from the common rate by chance.

Belongs here: funnel limits, overdispersion, p-values, the false-discovery rate. Does not belong
here: which groups are compared.
"""

from __future__ import annotations

import numpy as np

from pipelines.field.laws import (
    normal_above,
    normal_exceeded,
    poisson_above,
    poisson_least,
    poisson_of,
    poisson_up_to,
)


def funnel_limits(expected: np.ndarray, tail: float, spread: float = 1.0) -> np.ndarray:
    """The limit of observed/expected with probability `tail` below it.

    Exact Poisson, interpolated between counts (Spiegelhalter 2005): with r the smallest count
    with P(X <= r) >= tail, (r - (P(X <= r) - tail) / P(X = r)) / expected, cut at 0. `spread` is
    the overdispersion; the distance from 1 is widened by its square root.
    """
    r = poisson_least(tail, expected)
    limit = (r - (poisson_up_to(r, expected) - tail) / poisson_of(r, expected)) / expected
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
    tail = np.minimum(poisson_up_to(observed, expected), poisson_above(observed - 1, expected))
    deviate = normal_exceeded(np.minimum(tail, 0.5))
    chances: np.ndarray = 2 * normal_above(deviate / np.sqrt(spread))
    return chances


def q_values(p: np.ndarray) -> np.ndarray:
    """p-values after Benjamini & Hochberg (1995), in their order."""
    order = np.argsort(p)[::-1]
    raised = p[order] * len(p) / np.arange(len(p), 0, -1)
    q = np.empty(len(p))
    q[order] = np.minimum(np.minimum.accumulate(raised), 1.0)
    return q
