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
    from scipy.special import gammaln

    exposed = expected > 0
    o, e = observed[exposed], expected[exposed]
    if len(o) < 2 or o.sum() == 0:
        return None

    def minus(theta: np.ndarray) -> float:
        log_mean, log_shape = theta
        shape = np.exp(log_shape)
        rate = shape / np.exp(log_mean)
        terms = (
            gammaln(o + shape)
            - gammaln(shape)
            + shape * np.log(rate / (rate + e))
            + o * np.log(e / (rate + e))
        )
        return -float(terms.sum())

    bounds = [(-10, 10), (-6, _MOST_ALIKE)]
    start = np.array([np.log(o.sum() / e.sum()), 1.0])
    optimum = minimize(
        minus, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-15, "gtol": 1e-9}
    ).x
    shape = float(np.exp(optimum[1]))
    rate = float(shape / np.exp(optimum[0]))
    return Shrinkage(shape, rate, (observed + shape) / (expected + rate))
