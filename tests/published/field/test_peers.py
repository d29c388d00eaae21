"""Exact shares, stratified tests, funnel limits and limits of means, beside references."""

from __future__ import annotations

import itertools
from math import comb

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from pipelines.field.peers import (
    binomial_funnel,
    chance_of_more,
    clopper_pearson,
    conditional_moments,
    mean_limits,
    widened,
    winsorised_spread,
)


def test_clopper_pearson_gives_newcombes_table() -> None:
    """Newcombe (1998), Statistics in Medicine 17:857-872, table I, the exact method; from memory.

    His denominators 263, 148, 20 and 29 with 81, 15, 0 and 1 events.
    """
    low, high = clopper_pearson(np.array([81, 15, 0, 1]), np.array([263, 148, 20, 29]))
    assert low == pytest.approx([0.2527, 0.0578, 0.0, 0.0009], abs=6e-5)
    assert high == pytest.approx([0.3676, 0.1617, 0.1684, 0.1776], abs=6e-5)


def test_clopper_pearson_agrees_with_statsmodels() -> None:
    """Every share of up to 40 cases (statsmodels, proportion_confint, method beta)."""
    cases, events = np.array([(n, k) for n in range(1, 41) for k in range(n + 1)]).T
    low, high = clopper_pearson(events, cases)
    for place, (n, k) in enumerate(zip(cases, events, strict=True)):
        expected = proportion_confint(k, n, method="beta")
        assert (low[place], high[place]) == pytest.approx(expected, abs=1e-12)
    assert np.isnan(clopper_pearson(np.array([0]), np.array([0]))[0]).all()


def test_one_stratum_is_fishers_lady_tasting_tea() -> None:
    """Fisher (1935), The Design of Experiments: 4 cups of 8, all right 1/70, 3 or more 17/70."""
    cups = (np.array([4]), np.array([4]), np.array([8]))
    assert chance_of_more(4, *cups) == pytest.approx(1 / 70)
    assert chance_of_more(3, *cups) == pytest.approx(17 / 70)
    assert chance_of_more(0, *cups) == 1.0
    table = [[7, 12], [3, 40]]
    one_sided = stats.fisher_exact(table, alternative="greater").pvalue
    assert chance_of_more(7, np.array([19]), np.array([10]), np.array([62])) == pytest.approx(
        one_sided
    )


def test_several_strata_equal_the_count_of_all_arrangements() -> None:
    """The chance over all ways in which events may fall within strata, counted one by one."""
    own, events, cases = (3, 2, 4), (2, 3, 1), (7, 5, 6)
    ways = dict.fromkeys(range(10), 0)
    for counts in itertools.product(*(range(k + 1) for k in events)):
        ways[sum(counts)] += np.prod(
            [
                comb(k, x) * comb(total - k, n - x) if n >= x else 0
                for x, n, k, total in zip(counts, own, events, cases, strict=True)
            ]
        )
    every = np.prod([comb(total, n) for n, total in zip(own, cases, strict=True)])
    assert sum(ways.values()) == every
    for least in range(7):
        exact = sum(count for total, count in ways.items() if total >= least) / every
        told = chance_of_more(least, np.array(own), np.array(events), np.array(cases))
        assert told == pytest.approx(max(exact, 1e-18))


def test_moments_are_those_of_the_hypergeometric_law() -> None:
    """Mean and variance as in scipy; a stratum of one case has no spread."""
    own, events, cases = np.array([3, 20, 1]), np.array([2, 13, 1]), np.array([7, 90, 1])
    mean, variance = conditional_moments(own, events, cases)
    laws = [stats.hypergeom(*law) for law in ((7, 2, 3), (90, 13, 20))]
    assert mean == pytest.approx([*(law.mean() for law in laws), 1])
    assert variance == pytest.approx([*(law.var() for law in laws), 0])


def test_large_strata_keep_their_tail() -> None:
    """Cutting the law far out loses nothing: against the normal law with thousands of events."""
    own, events, cases = np.array([4000, 900]), np.array([3000, 800]), np.array([40000, 12000])
    mean, variance = conditional_moments(own, events, cases)
    at = round(mean.sum() + 2 * np.sqrt(variance.sum()))
    z = (at - 0.5 - mean.sum()) / np.sqrt(variance.sum())
    assert chance_of_more(at, own, events, cases) == pytest.approx(stats.norm.sf(z), rel=0.05)
    assert chance_of_more(900, own, events, cases) == 1e-18
    one = (np.array([4000]), np.array([3000]), np.array([40000]))
    exact = stats.hypergeom.sf(330, 40000, 3000, 4000)
    assert chance_of_more(331, *one) == pytest.approx(exact, rel=1e-8)


def test_binomial_limits_hold_what_they_say() -> None:
    """Spiegelhalter (2005), appendix A.1.1: r - (P(X <= r) - tail) / P(X = r), by hand for n = 10.

    For n = 10 and a share of 0.2: P(X <= 4) = 0.9672, P(X <= 5) = 0.9936, P(X = 5) = 0.0264.
    """
    limit = binomial_funnel(np.array([10]), np.array([0.2]), 0.975)
    assert limit * 2 == pytest.approx([5 - (0.99363 - 0.975) / 0.02642], abs=2e-3)
    wide = binomial_funnel(np.array([10]), np.array([0.2]), 0.975, spread=4.0)
    assert wide - 1 == pytest.approx(2 * (limit - 1))
    assert binomial_funnel(np.array([10]), np.array([0.2]), 0.001) == [0.0]
    many = binomial_funnel(np.array([100_000]), np.array([0.2]), 0.975)
    assert many == pytest.approx([1 + 1.96 * np.sqrt(0.8 / 0.2 / 100_000)], abs=1e-4)


def test_limits_of_a_mean_are_students() -> None:
    """As scipy's one-sample interval; one case has none."""
    values = np.array([1.5, 2.0, 1.25, 3.5, 2.25])
    low, high = mean_limits(
        np.array([5, 1]), np.array([values.sum(), 2]), np.array([(values**2).sum(), 4])
    )
    expected = stats.ttest_1samp(values, 0).confidence_interval()
    assert (low[0], high[0]) == pytest.approx(tuple(expected))
    assert np.isnan([low[1], high[1]]).all()


def test_spread_draws_in_outer_tenths_and_never_narrows() -> None:
    """One group far out hardly counts; groups alike give 1 (Spiegelhalter 2005)."""
    alike = stats.norm.ppf((np.arange(20) + 0.5) / 20)
    assert winsorised_spread(alike / 3) == 1.0
    assert winsorised_spread(np.append(alike, 50.0)) < 1.5
    assert winsorised_spread(2 * alike) == pytest.approx(4 * winsorised_by_hand(alike))
    assert winsorised_spread(np.array([np.nan])) == 1.0
    assert widened(np.array([0.025]), 4.0) == pytest.approx([stats.norm.sf(1.959964 / 2)])


def winsorised_by_hand(z: np.ndarray) -> float:
    """The mean square with each outer tenth drawn in."""
    from scipy.stats.mstats import winsorize

    low, high = np.quantile(z, [0.1, 0.9])
    assert winsorize(z, (0.1, 0.1)).min() >= low - 0.2
    return float((np.clip(z, low, high) ** 2).mean())
