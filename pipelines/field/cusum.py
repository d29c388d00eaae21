"""Poisson CUSUM charts.

Belongs here: the path, the run length that a reference and a decision value imply, and a choice
of both. Does not belong here: which counts are charted (`early_warning`).
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import ceil, log, sqrt

import numpy as np

TARGET_RUN_LENGTH = 200  # months between false alarms that a design aims at
LONGEST_RUN = 1e7
_STEPS = (1, 2, 4, 10, 20, 50, 100)
_MOST_CELLS = 10**6  # of the chains of several means that are solved together


def path(counts: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """S = max(0, S + x - k) along the last axis, from 0, without restart after an alarm."""
    sums = np.zeros(counts.shape)
    running = np.zeros(counts.shape[:-1])
    for i in range(counts.shape[-1]):
        running = np.maximum(0, running + counts[..., i] - reference[..., i])
        sums[..., i] = running
    return sums


def average_run_length(
    mean: float, reference: float, decision: float, *, head_start: float = 0, upper: bool = True
) -> float:
    """`average_run_lengths` of one mean."""
    means = np.array([mean], dtype=float)
    return float(
        average_run_lengths(means, reference, decision, head_start=head_start, upper=upper)[0]
    )


def average_run_lengths(
    means: np.ndarray,
    reference: float,
    decision: float,
    *,
    head_start: float = 0,
    upper: bool = True,
) -> np.ndarray:
    """Months until S >= decision, from the start, under Poisson counts of each of the means.

    Exact for reference and decision values that are multiples of 1/100, by the Markov chain over
    the values that S can take (Brook & Evans 1972). `upper` False: S = max(0, S - x + k). Infinite
    beyond ten million months, where rounding would decide.
    """
    from scipy.special import gammaln, pdtr, pdtrc

    exact = [Fraction(x).limit_denominator(100) for x in (reference, decision, head_start)]
    per_one = int(np.lcm.reduce([x.denominator for x in exact]))
    k, h, s = (int(x * per_one) for x in exact)
    state = np.arange(h)
    sign = 1 if upper else -1
    # From state i to j > 0 leads exactly one count, x = (k + sign (j - i)) / per_one, if whole.
    counts, rest = np.divmod(k + sign * (state[None, :] - state[:, None]), per_one)
    possible = (rest == 0) & (counts >= 0)
    x = np.arange(max(int(counts.max()), 0) + 1)
    run_lengths = []
    # Some at a time, so that their chains do not take much memory.
    for mean in np.array_split(means[:, None], ceil(len(means) * h * h / _MOST_CELLS) or 1):
        chance = np.exp(x * np.log(mean) - mean - gammaln(x + 1))
        chain = np.where(possible, chance[:, np.maximum(counts, 0)], 0.0)
        if upper:
            most = (k - state) // per_one  # counts up to this lead to 0
            chain[:, :, 0] = np.where(most >= 0, pdtr(np.maximum(most, 0), mean), 0.0)
        else:
            least = -((-state - k) // per_one)  # counts from this on lead to 0
            chain[:, :, 0] = np.where(least > 0, pdtrc(np.maximum(least - 1, 0), mean), 1.0)
        leaving = (1 - chain.sum(axis=2)).max(axis=1)
        known = leaving >= 1 / LONGEST_RUN
        lengths = np.full(len(mean), np.inf)
        lengths[known] = np.linalg.solve(np.eye(h) - chain[known], np.ones((h, 1)))[:, s, 0]
        run_lengths.append(np.where((lengths > 0) & (lengths < LONGEST_RUN), lengths, np.inf))
    return np.concatenate(run_lengths)


@lru_cache(maxsize=4096)
def _designed(expected: float) -> tuple[float, float]:
    raised = expected + max(0.2 * expected, 1.5 * sqrt(expected))
    ideal = (raised - expected) / log(raised / expected)
    per_one = next((q for q in _STEPS if q * ideal >= 4), _STEPS[-1])
    reference = ceil(ideal * per_one) / per_one
    # S moves by whole counts less k, so between counts a decision value is as good as the next.
    low, high = 0, 1
    unit = max(1, int(sqrt(expected) / 4))

    def long_enough(steps: int) -> bool:
        decision = max(steps * unit, 1 / per_one)
        return average_run_length(expected, reference, decision) >= TARGET_RUN_LENGTH

    while not long_enough(high):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if long_enough(middle) else (middle, high)
    return reference, float(high * unit)


def design(expected: float) -> tuple[float, float]:
    """Reference and decision value for a monthly count of this mean.

    The reference value is the best against a rise by a fifth or by 1.5 standard deviations,
    whichever is more (Lucas 1985: (raised - expected) / log(raised / expected)); the decision
    value is the smallest of a coarse grid that alarms falsely once in 200 months or less. Means
    are rounded up to two digits so that few designs are computed.
    """
    digits = 1 - int(np.floor(np.log10(expected)))
    scale = 10.0**digits
    return _designed(ceil(round(expected * scale, 6)) / scale)
