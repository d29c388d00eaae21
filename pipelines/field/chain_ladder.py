"""Counts that are still being reported, completed from how earlier ones came in.

Belongs here: Mack's chain ladder on a triangle. Does not belong here: what was reported when
(`reporting_lag`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Development(NamedTuple):
    """How a triangle develops.

    `factors` and `variances` (Mack's sigma²) lead from each column to the next; `developed` is
    `developed_share`; `ultimate` and its standard `error` are per row, `total_error` is that of
    their sum.
    """

    factors: np.ndarray
    variances: np.ndarray
    developed: np.ndarray
    ultimate: np.ndarray
    error: np.ndarray
    total_error: float


def developed_share(triangle: np.ndarray) -> np.ndarray:
    """The share that each column holds of the last; `triangle` as for `chain_ladder`."""
    return 1 / _to_last(_factors(triangle)[0])


def _factors(triangle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Volume-weighted factors from each column to the next, and their volumes."""
    here, then = triangle[:, :-1], triangle[:, 1:]
    both = np.isfinite(here) & np.isfinite(then)
    volumes = np.where(both, here, 0.0).sum(axis=0)
    reached = np.where(both, then, 0.0).sum(axis=0)
    return np.divide(reached, volumes, out=np.ones(len(volumes)), where=volumes > 0), volumes


def _to_last(factors: np.ndarray) -> np.ndarray:
    return np.append(np.cumprod(factors[::-1])[::-1], 1.0)


def chain_ladder(triangle: np.ndarray) -> Development:
    """Volume-weighted factors and Mack's (1993) standard errors.

    `triangle` is cumulative, rows from the oldest to the newest origin, columns by development,
    NaN where the time has not come. A column without any count has factor 1. The variance of the
    last factor, which one row cannot show, is Mack's: the least of the last two and
    last²/last but one.
    """
    rows, columns = triangle.shape
    factors, volumes = _factors(triangle)
    variances = np.ones(columns - 1)
    for k in range(columns - 1):
        here, then = triangle[:, k], triangle[:, k + 1]
        both = np.isfinite(here) & np.isfinite(then)
        some = both & (here > 0)
        freedom = both.sum() - 1
        spread = (here[some] * (then[some] / here[some] - factors[k]) ** 2).sum()
        variances[k] = spread / freedom if freedom > 0 else np.nan
    _fill_last(variances)
    to_last = _to_last(factors)
    known = np.isfinite(triangle).sum(axis=1)
    latest = triangle[np.arange(rows), known - 1]
    ultimate = latest * to_last[known - 1]
    error = np.array(
        [
            _mack_error(latest[i], int(known[i]) - 1, factors, variances, volumes)
            for i in range(rows)
        ]
    )
    # Rows share the factors, so that their errors do not merely add (Mack 1993).
    shared = np.where(volumes > 0, 2 * variances / factors**2 / np.maximum(volumes, 1), 0)
    to_come = np.append(np.cumsum(shared[::-1])[::-1], 0.0)
    later = ultimate.sum() - np.cumsum(ultimate)
    total = (error**2 + ultimate * later * to_come[known - 1]).sum()
    return Development(factors, variances, 1 / to_last, ultimate, error, float(np.sqrt(total)))


def _fill_last(variances: np.ndarray) -> None:
    for k in np.flatnonzero(np.isnan(variances)):
        one, two = (variances[k - 1] if k > 0 else 0.0), (variances[k - 2] if k > 1 else 0.0)
        variances[k] = min(one**2 / two if two > 0 else 0.0, one, two)


def _mack_error(
    latest: float, at: int, factors: np.ndarray, variances: np.ndarray, volumes: np.ndarray
) -> float:
    if latest <= 0:
        return 0.0
    path = latest * np.concatenate([[1.0], np.cumprod(factors[at:])])
    volume = np.where(volumes[at:] > 0, volumes[at:], np.inf)
    terms = variances[at:] / factors[at:] ** 2 * (1 / path[:-1] + 1 / volume)
    return float(path[-1] * np.sqrt(terms.sum()))
