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
    count: np.ndarray = _NONE


@dataclass(frozen=True)
class Lives:
    """Ages behind a fit, in one unit of time, all above 0.

    `failed` exactly then; `running` still without failure when the watch ended; `between` failed
    after the first (0 or more) and not after the second bound, with how many; `entered` came under
    watch at that age (left truncation), which every unit not watched from the start adds.
    """

    failed: Times = field(default_factory=Times)
    running: Times = field(default_factory=Times)
    between: tuple[np.ndarray, np.ndarray, np.ndarray] = (_NONE, _NONE, _NONE)
    entered: Times = field(default_factory=Times)

    @property
    def failures(self) -> float:
        """How many failed."""
        return float(self.failed.count.sum() + self.between[2].sum())

    @property
    def time(self) -> float:
        """Time watched, a failure between two bounds taken at their middle."""
        after, until, count = self.between
        parts = [(t.at * t.count).sum() for t in (self.failed, self.running, self.entered)]
        return float(parts[0] + parts[1] - parts[2] + ((after + until) / 2 * count).sum())


class Fit(NamedTuple):
    """Shape and scale with 95 % limits, and the log-likelihood."""

    shape: float
    shape_low: float
    shape_high: float
    scale: float
    scale_low: float
    scale_high: float
    log_likelihood: float


class _Point(NamedTuple):
    """Log-likelihood with its first and second derivatives in (log scale, log shape)."""

    value: float
    slope: np.ndarray
    curvature: np.ndarray


def fit_weibull(lives: Lives) -> Fit | None:
    """Maximum likelihood of S(t) = exp(-(t/scale)^shape); Wald limits on the log scale.

    Newton's method from an exponential life. Returns None where the likelihood has no maximum
    with a shape below 50 (as with all failures at one age).
    """
    if lives.failures == 0 or lives.time <= 0:
        return None
    theta = np.array([np.log(lives.time / lives.failures), 0.0])
    here = _likelihood(lives, theta)
    for _ in range(100):
        step = _uphill(here)
        for _ in range(40):  # halve until it does climb
            there = _likelihood(lives, theta + step)
            if there.value >= here.value - 1e-9 * abs(here.value):
                break
            step = step / 2
        theta, here = theta + step, there
        if abs(theta[1]) > 4:
            return None
        if np.abs(step).max() < 1e-10:
            break
    information = -here.curvature
    if np.linalg.det(information) <= 0 or np.abs(step).max() > 1e-6:
        return None
    error = np.sqrt(np.diag(np.linalg.inv(information)))
    low, high = np.exp(theta - Z_95 * error), np.exp(theta + Z_95 * error)
    scale, shape = np.exp(theta)
    figures = (shape, low[1], high[1], scale, low[0], high[0], here.value)
    return Fit(*(float(x) for x in figures))


def _uphill(point: _Point) -> np.ndarray:
    """A Newton step, of at most 1 in either logarithm; along the slope where it is not convex."""
    information = -point.curvature
    if information[0, 0] > 0 and np.linalg.det(information) > 0:
        step = np.linalg.solve(information, point.slope)
    else:
        step = point.slope / np.abs(point.slope).max()
    return step / max(1.0, np.abs(step).max())


class _Hazards(NamedTuple):
    """Cumulative hazards at ages with their derivatives in (log scale m, log shape b)."""

    h: np.ndarray
    m: np.ndarray
    b: np.ndarray
    mm: np.ndarray
    mb: np.ndarray
    bb: np.ndarray

    def sums(self, count: np.ndarray) -> np.ndarray:
        return np.array([(count * part).sum() for part in self])


def _hazards(ages: np.ndarray, log_scale: float, shape: float) -> _Hazards:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        z = shape * (np.log(ages) - log_scale)
        h = np.exp(z)
        zh = np.where(ages > 0, z * h, 0.0)
        zzh = np.where(ages > 0, z * zh, 0.0)
    return _Hazards(h, -shape * h, zh, shape**2 * h, -shape * (h + zh), zh + zzh)


def _likelihood(lives: Lives, theta: np.ndarray) -> _Point:
    log_scale, log_shape = theta
    shape = np.exp(log_shape)
    failed, running, entered = (
        _hazards(times.at, log_scale, shape).sums(times.count)
        for times in (lives.failed, lives.running, lives.entered)
    )
    total = -(failed + running - entered)
    # The log rate of an exact failure: log shape + z - log age, z = shape (log age - log scale).
    ages, count = lives.failed
    logs = np.log(ages)
    z = (count * shape * (logs - log_scale)).sum()
    d = count.sum()
    total += np.array(
        [d * log_shape + z - (count * logs).sum(), -shape * d, d + z, 0, -shape * d, z]
    )
    total += _between(lives, log_scale, shape)
    value, m, b, mm, mb, bb = total
    if not np.isfinite(total).all():
        value = -np.inf
    return _Point(float(value), np.array([m, b]), np.array([[mm, mb], [mb, bb]]))


def _between(lives: Lives, log_scale: float, shape: float) -> np.ndarray:
    """log(e^-A - e^-B) = -A + log(1 - e^-(B-A)) for failures between two ages."""
    after, until, count = lives.between
    start, end = (_hazards(ages, log_scale, shape) for ages in (after, until))
    h, m, b, mm, mb, bb = (e - s for e, s in zip(end, start, strict=True))
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        grown = np.expm1(h)
        first = 1 / grown
        second = -(1 + grown) / grown**2
        value = np.log(-np.expm1(-h))
    parts = (
        value,
        first * m,
        first * b,
        second * m * m + first * mm,
        second * m * b + first * mb,
        second * b * b + first * bb,
    )
    return np.array([(count * part).sum() for part in parts]) - start.sums(count)
