"""Chances and quantiles beside scipy.stats, which has the same laws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipelines.field import funnel, laws

TAILS = (0.001, 0.025, 0.4, 0.975, 0.999)
MEANS = np.array([0.004, 0.3, 1.0, 2.5, 17.0, 480.5, 52_000.0])
COUNTS = np.array([-1.0, 0.0, 1.0, 3.0, 17.0, 500.0, 51_900.0])


@pytest.mark.parametrize("tail", TAILS)
def test_least_counts_are_those_of_the_reference(tail: float) -> None:
    """Poisson and binomial, at quantiles that fall on counts and between them."""
    assert laws.poisson_least(tail, MEANS).tolist() == stats.poisson.ppf(tail, MEANS).tolist()
    exact = stats.poisson.cdf(3, 2.5)
    assert laws.poisson_least(exact, np.array([2.5])).tolist() == [3.0]
    for share in (0.01, 0.2, 0.5, 0.93):
        cases = np.array([1.0, 2.0, 9.0, 40.0, 333.0, 20_000.0])
        shares = np.full(len(cases), share)
        expected = stats.binom.ppf(tail, cases, shares)
        assert laws.binomial_least(tail, cases, shares).tolist() == expected.tolist()


def test_chances_are_those_of_the_reference() -> None:
    """Poisson, binomial, normal, Student's and chi-square, to nine digits."""
    close = lambda a, b: np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-300)  # noqa: E731
    close(laws.poisson_up_to(COUNTS, MEANS), stats.poisson.cdf(COUNTS, MEANS))
    close(laws.poisson_above(COUNTS, MEANS), stats.poisson.sf(COUNTS, MEANS))
    close(laws.poisson_of(COUNTS[1:], MEANS[1:]), stats.poisson.pmf(COUNTS[1:], MEANS[1:]))
    count, cases, share = np.array([0.0, 3.0, 9.0, 40.0]), np.full(4, 40.0), np.full(4, 0.2)
    close(laws.binomial_up_to(count, cases, share), stats.binom.cdf(count, cases, share))
    close(laws.binomial_of(count, cases, share), stats.binom.pmf(count, cases, share))
    z, freedom = np.array([-2.0, 0.1, 1.96, 6.0]), np.array([1.0, 2.5, 30.0, 1e4])
    close(laws.normal_above(z), stats.norm.sf(z))
    close(laws.normal_exceeded(np.array(TAILS)), stats.norm.isf(TAILS))
    close(laws.student_above(z, freedom), stats.t.sf(z, freedom))
    close(laws.student_at(0.975, freedom), stats.t.ppf(0.975, freedom))
    close(laws.chi_square_above(3.84, 2), stats.chi2.sf(3.84, 2))


def test_false_discoveries_are_those_of_the_reference() -> None:
    """Benjamini and Hochberg's q-values, with ties, and of none."""
    p = np.array([0.04, 0.001, 0.2, 0.04, 0.9, 1.0, 1e-9])
    np.testing.assert_allclose(funnel.q_values(p), stats.false_discovery_control(p), rtol=1e-12)
    assert len(funnel.q_values(np.zeros(0))) == 0
