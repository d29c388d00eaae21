"""Poisson CUSUM charts.

Belongs here: the path, the run length that a reference and a decision value imply, and a choice
of both. Does not belong here: which counts are charted (`early_warning`).
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import ceil, log, log10, sqrt

import numpy as np

TARGET_RUN_LENGTH = 200  # months between false alarms that a design aims at
LONGEST_RUN = 1e7
_STEPS = (1, 2, 4, 10, 20, 50, 100)
_PER_DECADE = 24  # steps of means that share a design
_FEW_STATES = 64
_TENTHS, _PRUDENT = 10, 0.9
_MANY = 400  # failures from which on a rate counts as known so well
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


def smallest_decision(
    mean: float, reference: int, per_one: int, target: float
) -> tuple[int, float]:
    """The smallest h for which S >= h / per_one comes after `target` months or more, and when.

    The chains of smaller decision values are leading blocks of that of the largest, so that one
    factorization without exchanges (the matrix is diagonally dominant), step by step, does for all.

    Args:
        reference: in units of 1 / per_one.
    """
    states = _FEW_STATES
    while True:
        matrix = _leaving(mean, reference, per_one, states)
        right, first = np.ones(states), np.zeros(states)
        first[0], length = 1.0, 0.0
        for at in range(states):
            pivot = max(float(matrix[at, at]), 1 / LONGEST_RUN)
            first[at] /= pivot
            length += float(first[at] * right[at])
            if length >= target:
                return at + 1, length
            below, across = matrix[at + 1 :, at] / pivot, matrix[at, at + 1 :]
            matrix[at + 1 :, at + 1 :] -= np.outer(below, across)
            right[at + 1 :] -= below * right[at]
            first[at + 1 :] -= first[at] * across
        states *= 2


def _leaving(mean: float, reference: int, per_one: int, states: int) -> np.ndarray:
    """Identity less the chances of going from state to state."""
    from scipy.special import gammaln, pdtr

    state = np.arange(states)
    counts, rest = np.divmod(reference + state[None, :] - state[:, None], per_one)
    possible = (rest == 0) & (counts >= 0)
    x = np.arange(max(int(counts.max()), 0) + 1)
    chance = np.exp(x * np.log(mean) - mean - gammaln(x + 1))
    matrix = -np.where(possible, chance[np.maximum(counts, 0)], 0.0)
    most = (reference - state) // per_one  # counts up to this lead to 0
    matrix[:, 0] = -np.where(most >= 0, pdtr(np.maximum(most, 0), mean), 0.0)
    matrix[state, state] += 1
    return matrix


@lru_cache(maxsize=4096)
def _designed(expected: float, target: float) -> tuple[float, float]:
    raised = expected + max(0.2 * expected, 1.5 * sqrt(expected))
    ideal = (raised - expected) / log(raised / expected)
    per_one = next((q for q in _STEPS if q * ideal >= 4), _STEPS[-1])
    reference = ceil(ideal * per_one)
    decision, _ = smallest_decision(expected, reference, per_one, min(target, LONGEST_RUN / 10))
    return reference / per_one, decision / per_one


def design(expected: float, target: float = TARGET_RUN_LENGTH) -> tuple[float, float]:
    """Reference and decision value for a monthly count of this mean.

    The reference value is the best against a rise by a fifth or by 1.5 standard deviations,
    whichever is more (Lucas 1985: (raised - expected) / log(raised / expected)); the decision
    value is the smallest that the sum can take whose run length in control is `target` months or
    more. Means are rounded up to steps of a tenth so that few designs are computed.
    """
    steps = ceil(round(log10(expected) * _PER_DECADE, 6))
    return _designed(10.0 ** (steps / _PER_DECADE), target)


def uncertain_design(expected: float, behind: int, target: float) -> tuple[float, float, float]:
    """Reference value, decision value and run length for a mean that rests on few failures.

    The rate behind the mean is known as a gamma of `behind` + 1/2 failures. The chart is designed
    for the mean that it exceeds with a chance of one in ten, so that what chance put too low does
    not alarm month after month. The run length is the inverse of the mean rate of false alarms.
    """
    known = min(behind, _MANY)
    prudent = expected * _likely(known)[-1]
    steps = ceil(round(log10(expected) * _PER_DECADE, 6))
    while True:
        reference, decision = design(prudent, target)
        length = _uncertain_length(10.0 ** (steps / _PER_DECADE), reference, decision, known)
        if length >= min(target, LONGEST_RUN / 10):
            return reference, decision, length
        prudent *= 1.1


@lru_cache(maxsize=512)
def _likely(behind: int) -> tuple[float, ...]:
    """Rates over the estimated one: the middles of tenths of the gamma, and its ninth decile."""
    from scipy.special import gammaincinv

    shape = behind + 0.5
    shares = np.append((np.arange(_TENTHS) + 0.5) / _TENTHS, _PRUDENT)
    return tuple((gammaincinv(shape, shares) / max(behind, 0.5)).tolist())


@lru_cache(maxsize=8192)
def _uncertain_length(mean: float, reference: float, decision: float, behind: int) -> float:
    means = mean * np.array(_likely(behind)[:-1])
    alarms = 1 / average_run_lengths(np.maximum(means, 1e-9), reference, decision)
    return float(1 / max(alarms.mean(), 1 / LONGEST_RUN))
