"""Limits of counts, rates and rate ratios.

Belongs here: closed formulas for event counts and person-time. Does not belong here: regression,
or who was at risk. Arrays in, arrays out; what cannot be had is NaN here and null in a figure.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

Z_95 = 1.959963984540054
DAYS_PER_YEAR = 365.25


class Ratio(NamedTuple):
    """A ratio with its 95 % limits."""

    ratio: float
    low: float
    high: float


UNKNOWN_RATIO = Ratio(np.nan, np.nan, np.nan)


def garwood_limits(counts: np.ndarray, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """Exact two-sided limits of Poisson counts (Garwood 1936), by the gamma form of chi-square.

    At a count of 0 the lower limit is 0 and the upper one still two-sided: 3.689 at 95 %.
    """
    from scipy.special import gammaincinv

    counts = np.asarray(counts, dtype=float)
    tail = (1 - confidence) / 2
    low = np.where(counts > 0, gammaincinv(np.maximum(counts, 1), tail), 0.0)
    return low, gammaincinv(counts + 1, 1 - tail)


def robust_limits(
    failures: np.ndarray,
    units: np.ndarray,
    unit_years: np.ndarray,
    squares: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> tuple[np.ndarray, np.ndarray]:
    """95 % limits of failures per unit-year that allow for units failing again.

    A sandwich on the log scale with the unit as cluster: Var(log rate) =
    G/(G-1) · sum (f - rate · y)² / failures², the clustered variance of a Poisson regression
    without terms. `squares` holds the sums over units of f², f·y and y² (f failures, y years).
    NaN with no failure or a single unit: then nothing shows how units differ.
    """
    f_f, f_y, y_y = squares
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = failures / unit_years
        spread = np.maximum(f_f - 2 * rate * f_y + rate**2 * y_y, 0)
        error = np.sqrt(units / (units - 1) * spread) / failures
        usable = (units > 1) & (failures > 0)
        low, high = rate * np.exp(-Z_95 * error), rate * np.exp(Z_95 * error)
    return np.where(usable, low, np.nan), np.where(usable, high, np.nan)


def rate_ratio(events: float, time: float, other_events: float, other_time: float) -> Ratio:
    """Ratio of two Poisson rates with exact central limits.

    Given the total, the first count is binomial; its Clopper-Pearson limits become limits of the
    ratio (Przyborowski & Wilenski 1940). The upper limit is infinite, so NaN, where the other
    group had no event.
    """
    from scipy.special import betaincinv

    if time <= 0 or other_time <= 0 or events + other_events == 0:
        return UNKNOWN_RATIO
    scale = other_time / time
    low_share = betaincinv(events, other_events + 1, 0.025) if events else 0.0
    low = scale * low_share / (1 - low_share)
    if not other_events:
        return Ratio(np.nan, low, np.nan)
    high_share = betaincinv(events + 1, other_events, 0.975)
    ratio = events / time / (other_events / other_time)
    return Ratio(ratio, low, scale * high_share / (1 - high_share))


def mantel_haenszel(
    events: np.ndarray, time: np.ndarray, other_events: np.ndarray, other_time: np.ndarray
) -> Ratio:
    """Mantel-Haenszel ratio of two rates over strata (one element a stratum).

    Limits by Greenland & Robins (1985). Strata in which one side was never watched say nothing
    and drop out by themselves.
    """
    total = np.asarray(time, dtype=float) + other_time
    kept = total > 0
    a, t, b, u, n = (
        np.asarray(x, dtype=float)[kept] for x in (events, time, other_events, other_time, total)
    )
    above, below = float((a * u / n).sum()), float((b * t / n).sum())
    if above <= 0 or below <= 0:
        return UNKNOWN_RATIO
    error = np.sqrt(((a + b) * t * u / n**2).sum() / (above * below))
    ratio = above / below
    return Ratio(ratio, ratio * np.exp(-Z_95 * error), ratio * np.exp(Z_95 * error))
