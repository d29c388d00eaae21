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
    units: np.ndarray = _NONE


@dataclass(frozen=True)
class Lives:
    """Ages behind a fit, in one unit of time, all above 0.

    `failed` exactly then; `running` still without failure when the exposure ended; `between` failed
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
        return float(self.failed.units.sum() + self.between[2].sum())

    @property
    def time(self) -> float:
        """Time at risk, a failure between two bounds taken at their middle."""
        after, until, count = self.between
        parts = [(t.at * t.units).sum() for t in (self.failed, self.running, self.entered)]
        return float(parts[0] + parts[1] - parts[2] + ((after + until) / 2 * count).sum())


class Fit(NamedTuple):
    """Shape and scale with 95 % limits, and the log-likelihood.

    `covariance` is that of (log scale, log shape): variance of the first, covariance, variance of
    the second.
    """

    shape: float
    shape_low: float
    shape_high: float
    scale: float
    scale_low: float
    scale_high: float
    log_likelihood: float
    covariance: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def age_by(self, share: float) -> tuple[float, float, float]:
        """The age by which a share has failed, with Wald 95 % limits on the log scale.

        scale x (-ln(1 - share))^(1/shape); its variance by the delta method.
        """
        reach = float(np.log(-np.log1p(-share))) / self.shape
        m, mb, b = self.covariance
        error = float(np.sqrt(m + reach**2 * b - 2 * reach * mb))
        age = np.log(self.scale) + reach + np.array([0.0, -1.0, 1.0]) * Z_95 * error
        ages = np.exp(age)
        return float(ages[0]), float(ages[1]), float(ages[2])

    def failed_by(self, ages: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The share failed by each age (above 0), with Wald 95 % limits on ln(-ln S)."""
        y = self.shape * (np.log(ages) - np.log(self.scale))
        m, mb, b = self.covariance
        error = np.sqrt(self.shape**2 * m + y**2 * b - 2 * self.shape * y * mb)
        lines = (y, y - Z_95 * error, y + Z_95 * error)
        fitted, low, high = (-np.expm1(-np.exp(line)) for line in lines)
        return fitted, low, high


class _Point(NamedTuple):
    """Log-likelihood with its first and second derivatives in (log scale m, log shape b)."""

    value: float
    m: float
    b: float
    mm: float
    mb: float
    bb: float

    @property
    def determinant(self) -> float:
        """That of the information, which is minus the curvature."""
        return self.mm * self.bb - self.mb**2


class _Sums(NamedTuple):
    """What a likelihood needs of lives at every step of its search.

    `logs` of all ages at which a cumulative hazard counts, `signs` how often each does (less than
    0 for ages of entry); how many failed exactly, the sum of their log ages, and `between`.
    """

    logs: np.ndarray
    signs: np.ndarray
    failed: float
    failed_logs: float
    between: tuple[np.ndarray, np.ndarray, np.ndarray]

    @classmethod
    def of(cls, lives: Lives) -> _Sums:
        parts = (lives.failed, lives.running, lives.entered)
        ages = np.concatenate([times.at for times in parts])
        signs = np.concatenate([times.units for times in parts]).astype(float)
        signs[len(signs) - len(lives.entered.at) :] *= -1
        some = ages > 0  # nothing is cumulated at age 0
        count = lives.failed.units
        logs = float((count * np.log(lives.failed.at)).sum())
        return cls(np.log(ages[some]), signs[some], float(count.sum()), logs, lives.between)


def fit_weibull(lives: Lives) -> Fit | None:
    """Maximum likelihood of S(t) = exp(-(t/scale)^shape); Wald limits on the log scale.

    Newton's method from an exponential life. Returns None where the likelihood has no maximum
    with a shape below 50 (as with all failures at one age).
    """
    if lives.failures == 0 or lives.time <= 0:
        return None
    sums = _Sums.of(lives)
    theta = (float(np.log(lives.time / lives.failures)), 0.0)
    here = _likelihood(sums, *theta)
    for _ in range(100):
        step = _uphill(here)
        for _ in range(40):  # halve until it does climb
            there = _likelihood(sums, theta[0] + step[0], theta[1] + step[1])
            if there.value >= here.value - 1e-9 * abs(here.value):
                break
            step = (step[0] / 2, step[1] / 2)
        theta, here = (theta[0] + step[0], theta[1] + step[1]), there
        if abs(theta[1]) > 4:
            return None
        if max(abs(step[0]), abs(step[1])) < 1e-10:
            break
    determinant = here.determinant
    if not determinant > 0 or max(abs(step[0]), abs(step[1])) > 1e-6:
        return None
    error = np.sqrt(np.array([-here.bb, -here.mm]) / determinant)
    low, high = np.exp(theta - Z_95 * error), np.exp(theta + Z_95 * error)
    scale, shape = np.exp(theta)
    figures = (shape, low[1], high[1], scale, low[0], high[0], here.value)
    own, cross, other = (float(x / determinant) for x in (-here.bb, here.mb, -here.mm))
    fit = Fit(*(float(x) for x in figures))  # type: ignore[arg-type] # of seven numbers
    return fit._replace(covariance=(own, cross, other))


def _uphill(point: _Point) -> tuple[float, float]:
    """A Newton step, of at most 1 in either logarithm; along the slope where it is not convex."""
    if point.mm < 0 and point.determinant > 0:
        step = (
            (point.mb * point.b - point.bb * point.m) / point.determinant,
            (point.mb * point.m - point.mm * point.b) / point.determinant,
        )
    else:
        longest = max(abs(point.m), abs(point.b))
        step = (point.m / longest, point.b / longest)
    longest = max(1.0, abs(step[0]), abs(step[1]))
    return step[0] / longest, step[1] / longest


def _likelihood(sums: _Sums, log_scale: float, log_shape: float) -> _Point:
    shape = float(np.exp(log_shape))
    with np.errstate(over="ignore", invalid="ignore"):
        z = shape * (sums.logs - log_scale)
        hazard = sums.signs * np.exp(z)
        h, zh, zzh = float(hazard.sum()), float(z @ hazard), float((z * z) @ hazard)
    # The log rate of an exact failure: log shape + z - log age, z = shape (log age - log scale).
    d = sums.failed
    own = shape * (sums.failed_logs - d * log_scale)
    terms: tuple[float, ...] = (
        d * log_shape + own - sums.failed_logs - h,
        -shape * d + shape * h,
        d + own - zh,
        -(shape**2) * h,
        -shape * d + shape * (h + zh),
        own - zh - zzh,
    )
    if len(sums.between[2]):
        more = _between(sums.between, log_scale, shape)
        terms = tuple(one + other for one, other in zip(terms, more, strict=True))
    point = _Point(*(float(x) for x in terms))
    return point if np.isfinite(point).all() else point._replace(value=-np.inf)


class _Hazards(NamedTuple):
    """Cumulative hazards at ages with their derivatives in (log scale m, log shape b)."""

    h: np.ndarray
    m: np.ndarray
    b: np.ndarray
    mm: np.ndarray
    mb: np.ndarray
    bb: np.ndarray


def _hazards(ages: np.ndarray, log_scale: float, shape: float) -> _Hazards:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        z = shape * (np.log(ages) - log_scale)
        h = np.exp(z)
        zh = np.where(ages > 0, z * h, 0.0)
        zzh = np.where(ages > 0, z * zh, 0.0)
    return _Hazards(h, -shape * h, zh, shape**2 * h, -shape * (h + zh), zh + zzh)


def _between(
    bounds: tuple[np.ndarray, np.ndarray, np.ndarray], log_scale: float, shape: float
) -> list[float]:
    """log(e^-A - e^-B) = -A + log(1 - e^-(B-A)) for failures between two ages."""
    after, until, count = bounds
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
    return [float(count @ (part - less)) for part, less in zip(parts, start, strict=True)]
