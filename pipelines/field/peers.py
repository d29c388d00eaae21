"""One group against its peers, stratum by stratum: exact chances of shares, limits of means.

Belongs here: closed formulas and exact distributions over strata. Does not belong here: who is
compared, or what a stratum is (`agencies`). Arrays in, arrays out; what cannot be had is NaN.
"""

from __future__ import annotations

import numpy as np

from pipelines.field.laws import (
    binomial_least,
    binomial_of,
    binomial_up_to,
    normal_above,
    normal_exceeded,
    student_at,
)

# Chances below this are cut from a law, and none smaller is told.
_NEGLIGIBLE = 1e-18


def clopper_pearson(
    events: np.ndarray, cases: np.ndarray, confidence: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Exact two-sided limits of a share (Clopper & Pearson 1934), as quantiles of the beta law.

    Cases need not be whole: Korn & Graubard (1998) put an effective number in their place. NaN
    without a case.
    """
    from scipy.special import betaincinv

    k, n = (np.asarray(x, dtype=float) for x in (events, cases))
    tail = (1 - confidence) / 2
    some = n > 0
    low = np.where(k > 0, betaincinv(np.maximum(k, 1e-9), np.maximum(n - k, 0) + 1, tail), 0.0)
    high = np.where(k < n, betaincinv(k + 1, np.maximum(n - k, 1e-9), 1 - tail), 1.0)
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def binomial_funnel(
    cases: np.ndarray, share: np.ndarray, tail: float, spread: float = 1.0
) -> np.ndarray:
    """The limit of observed/expected, for an expected share, with probability `tail` below it.

    Exact binomial, interpolated between counts as Spiegelhalter (2005, appendix A.1.1) does; the
    distance from 1 is widened by the square root of `spread`. Cases of different expected shares
    count as if all had their mean: that spreads wider, not narrower (Hoeffding 1956).
    """
    r = binomial_least(tail, cases, share)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = (binomial_up_to(r, cases, share) - tail) / binomial_of(r, cases, share)
        limit = (r - inside) / (cases * share)
    widened_limit: np.ndarray = np.maximum(1 + (np.maximum(limit, 0) - 1) * np.sqrt(spread), 0)
    return widened_limit


def chance_of_more(
    events: int, own_cases: np.ndarray, all_events: np.ndarray, all_cases: np.ndarray
) -> float:
    """The chance of so many events in a group, or more, were it as its peers in every stratum.

    Exact and conditional on every stratum's total (Fisher 1935 for one stratum; Gart 1970 for
    several): the group's events in a stratum are hypergeometric, and their sum has the
    convolution of those laws. So the peers' own chance is allowed for. Arrays hold one entry a
    stratum.
    """
    law, least = np.ones(1), 0
    for n, k, total in zip(own_cases, all_events, all_cases, strict=True):
        mean = n * k / total
        reach = 12 * np.sqrt(mean + 1) + 12
        low = max(0, n + k - total, int(mean - reach))
        high = min(n, k, int(mean + reach) + 1)
        counts = np.arange(low, high + 1)
        law = np.convolve(law, _hypergeometric(counts, n, k, total))
        least += low
        kept = np.flatnonzero(law > _NEGLIGIBLE)
        if len(kept):
            law, least = law[kept[0] : kept[-1] + 1], least + int(kept[0])
    place = events - least
    if place <= 0:
        return 1.0
    return float(np.clip(law[place:].sum(), _NEGLIGIBLE, 1.0))


def _hypergeometric(counts: np.ndarray, n: int, k: int, total: int) -> np.ndarray:
    """The law of events in `n` cases out of `total` with `k` events, by logarithms of factorials.

    That of scipy.stats, in a tenth of the time, since there are thousands of strata.
    """
    from scipy.special import gammaln

    def log_choose(out_of: int, chosen: np.ndarray | int) -> np.ndarray:
        logs: np.ndarray = gammaln(out_of + 1) - gammaln(chosen + 1) - gammaln(out_of - chosen + 1)
        return logs

    logs = log_choose(k, counts) + log_choose(total - k, n - counts) - log_choose(total, n)
    law: np.ndarray = np.exp(logs)
    return law


def conditional_moments(
    own_cases: np.ndarray, all_events: np.ndarray, all_cases: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of a group's events in each stratum, given the stratum's total."""
    n, k, total = (np.asarray(x, dtype=float) for x in (own_cases, all_events, all_cases))
    share = k / total
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(total > 1, (total - n) / (total - 1), 0.0)
    return n * share, n * share * (1 - share) * left


def mean_limits(
    cases: np.ndarray, total: np.ndarray, squares: np.ndarray, confidence: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Limits of a mean by Student's t, from a sum and a sum of squares; NaN below two cases."""
    n = np.asarray(cases, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / n
        variance = np.maximum(squares - n * mean**2, 0) / (n - 1)
        reach = student_at((1 + confidence) / 2, n - 1) * np.sqrt(variance / n)
    some = n > 1
    return np.where(some, mean - reach, np.nan), np.where(some, mean + reach, np.nan)


def winsorised_spread(deviates: np.ndarray) -> float:
    """How far groups differ beyond chance: the mean square of z, each outer tenth drawn in.

    Spiegelhalter (2005): never below 1, so that limits are widened and never narrowed. A single
    group that stands far out does not count in full.
    """
    z = deviates[np.isfinite(deviates)]
    if not len(z):
        return 1.0
    low, high = np.quantile(z, [0.1, 0.9])
    return max(1.0, float(np.mean(np.clip(z, low, high) ** 2)))


def widened(p: np.ndarray, spread: float) -> np.ndarray:
    """One-sided chances, their normal deviates divided by the square root of `spread`."""
    chances: np.ndarray = normal_above(normal_exceeded(p) / np.sqrt(spread))
    return chances
