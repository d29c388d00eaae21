"""Weibull life fits.

Belongs here: maximum likelihood for grouped ages with censoring and late entry. Does not belong
here: which units failed when.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from pipelines.field.poisson import Z_95

_NONE = np.zeros(0)


class Times(NamedTuple):
    """Times with how many units share each."""

    at: np.ndarray = _NONE
    count: np.ndarray = _NONE  # type: ignore[assignment]  # also a tuple's method


@dataclass(frozen=True)
class Lives:
    """Ages behind a fit, in one unit of time, all above 0.

    `failed` exactly then; `running` still without failure when the watch ended; `between` failed
    after the first and not after the second bound (`Times` of equal length); `entered` came under
    watch at that age (left truncation), which every unit not watched from the start adds.
    """

    failed: Times = field(default_factory=Times)
    running: Times = field(default_factory=Times)
    between: tuple[np.ndarray, np.ndarray, np.ndarray] = (_NONE, _NONE, _NONE)
    entered: Times = field(default_factory=Times)

    def log_likelihood(self, log_scale: complex, log_shape: complex) -> complex:
        """S(t) = exp(-(t/scale)^shape), in the logarithms of scale and shape."""
        shape = np.exp(log_shape)

        def hazard(ages: np.ndarray) -> np.ndarray:
            return np.exp(shape * (np.log(ages) - log_scale))

        ages, count = self.failed
        rate = log_shape + shape * (np.log(ages) - log_scale) - np.log(ages)
        total = (count * (rate - hazard(ages))).sum()
        total -= (self.running.count * hazard(self.running.at)).sum()
        total += (self.entered.count * hazard(self.entered.at)).sum()
        after, until, count = self.between
        start = np.where(after > 0, hazard(np.maximum(after, 1e-300)), 0)
        # log(e^-a - e^-b) = -a + log(1 - e^(a-b))
        total += (count * (-start + np.log(-np.expm1(start - hazard(until))))).sum()
        return total


class Fit(NamedTuple):
    """Shape and scale with 95 % limits, and the log-likelihood."""

    shape: float
    shape_low: float
    shape_high: float
    scale: float
    scale_low: float
    scale_high: float
    log_likelihood: float


def fit_weibull(lives: Lives) -> Fit | None:
    """Maximum likelihood; Wald limits on the logarithms of shape and scale.

    Returns None where the likelihood has no finite maximum (as with all failures at one age).
    Derivatives are by complex steps, exact to rounding.
    """
    from scipy.optimize import minimize

    def minus(theta: np.ndarray) -> float:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            value = -lives.log_likelihood(*theta)
        return float(value) if np.isfinite(value) else 1e300

    def slope(theta: np.ndarray) -> np.ndarray:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            steps = [-lives.log_likelihood(*(theta + 1e-30j * e)).imag / 1e-30 for e in np.eye(2)]
        return np.nan_to_num(np.array(steps), nan=0.0, posinf=1e300, neginf=-1e300)

    theta = minimize(minus, _start(lives), jac=slope, method="BFGS", options={"gtol": 1e-7}).x
    for _ in range(20):  # Newton to the last digit; BFGS alone stops at about 1e-6
        curvature = _curvature(slope, theta)
        if not np.isfinite(curvature).all() or np.linalg.det(curvature) <= 0:
            return None
        step = np.linalg.solve(curvature, slope(theta))
        theta = theta - step
        if np.abs(step).max() < 1e-12:
            break
    if abs(theta[1]) > 4:  # a shape beyond 50: all failures at practically one age
        return None
    error = np.sqrt(np.diag(np.linalg.inv(curvature)))
    low, high = np.exp(theta - Z_95 * error), np.exp(theta + Z_95 * error)
    scale, shape = np.exp(theta)
    return Fit(*(float(x) for x in (shape, low[1], high[1], scale, low[0], high[0], -minus(theta))))


def _start(lives: Lives) -> np.ndarray:
    """An exponential life: all time over all failures."""
    after, until, count = lives.between
    time = sum(
        (np.sum(t.at * t.count) * sign)
        for t, sign in ((lives.failed, 1), (lives.running, 1), (lives.entered, -1))
    ) + np.sum((after + until) / 2 * count)
    return np.array([np.log(time / (lives.failed.count.sum() + count.sum())), 0.0])


def _curvature(slope, theta: np.ndarray) -> np.ndarray:
    step = 1e-5
    columns = [(slope(theta + step * e) - slope(theta - step * e)) / (2 * step) for e in np.eye(2)]
    matrix = np.array(columns)
    return (matrix + matrix.T) / 2
