"""Rates of small regions drawn toward the common rate.

Belongs here: the gamma-Poisson model, estimated from the data at hand (empirical Bayes). Does not
belong here: which regions there are, flags, adjustment for water.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_MOST_ALIKE = 12.0  # log shape of the prior at which regions count as all alike


class Shrinkage(NamedTuple):
    """The prior gamma (shape, rate) of true ratios, and each region's shrunk ratio."""

    shape: float
    rate: float
    ratios: np.ndarray


def shrink(observed: np.ndarray, expected: np.ndarray) -> Shrinkage | None:
    """Shrunk ratios (observed + shape) / (expected + rate).

    Shape and rate maximise the negative-binomial likelihood of the counts (Clayton & Kaldor
    1987). Where the counts vary no more than chance has it, the shape runs off and every ratio
    becomes the common one. None where nothing was observed or fewer than two regions were watched.
    """
    from scipy.optimize import minimize
    from scipy.special import gammaln, psi

    exposed = expected > 0
    o, e = observed[exposed], expected[exposed]
    if len(o) < 2 or o.sum() == 0:
        return None

    def minus(theta: np.ndarray) -> tuple[float, np.ndarray]:
        """The likelihood and its slopes by log mean and log shape, both turned over."""
        shape = np.exp(theta[1])
        rate = shape / np.exp(theta[0])
        share = np.log(rate / (rate + e))
        terms = gammaln(o + shape) - gammaln(shape) + shape * share + o * np.log(e / (rate + e))
        by_rate = rate * float((shape / rate - (shape + o) / (rate + e)).sum())
        by_shape = shape * float((psi(o + shape) - psi(shape) + share).sum())
        return -float(terms.sum()), -np.array([-by_rate, by_shape + by_rate])

    bounds = [(-10, 10), (-6, _MOST_ALIKE)]
    start = np.array([np.log(o.sum() / e.sum()), 1.0])
    optimum = minimize(
        minus,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"ftol": 1e-15, "gtol": 1e-9},
    ).x
    shape = float(np.exp(optimum[1]))
    rate = float(shape / np.exp(optimum[0]))
    return Shrinkage(shape, rate, (observed + shape) / (expected + rate))
