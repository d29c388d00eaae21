"""Weeks are counted back from the through date, and a week far from them is told."""

from __future__ import annotations

import datetime as dt
import warnings

import numpy as np
import polars as pl
import pytest

from pipelines.nightly.claim_counts import NORMAL_QUANTILE, limits, weekly_counts

THROUGH = dt.date(2026, 3, 31)


def days_before(*days: int) -> pl.Series:
    """Days before the through date."""
    return pl.Series("filed", [THROUGH - dt.timedelta(days=day) for day in days], dtype=pl.Date)


def test_a_week_ends_on_the_through_date():
    """Day 0 to 6 are the last week, day 7 begins the one before; later claims are not counted."""
    found = weekly_counts(days_before(-1, 0, 6, 7, 13, 14, 27, 28), THROUGH)
    assert found.rows() == [(0, 2), (1, 2), (2, 1), (3, 1)]  # the fifth week is not whole


def test_weeks_without_a_claim_count_as_none():
    """A gap is a zero, not a missing week; no more than 26 weeks are compared with."""
    found = weekly_counts(days_before(0, 400), THROUGH)
    assert found["week"].to_list() == list(range(27))
    assert found["claims"].to_list() == [1] + [0] * 26


def test_no_claims_give_no_weeks():
    """Neither do claims that all lie after the day."""
    assert weekly_counts(days_before(), THROUGH).is_empty()
    assert weekly_counts(days_before(-3), THROUGH).is_empty()


def test_limits_are_those_of_a_quasi_poisson_model():
    """Dispersion and variance of the mean against statsmodels' GLM (scale by Pearson's X2).

    Source of the limit: Farrington et al. 1996, J. R. Stat. Soc. A 159:547-563, the upper limit
    m (1 + 2/3 z sqrt(m phi + var(m)) / m)^1.5.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the reference library's own imports
        import statsmodels.api as sm
    counts = np.array([14, 22, 9, 31, 18, 25, 12, 20, 17, 28, 15, 23])
    fit = sm.GLM(counts, np.ones(12), family=sm.families.Poisson()).fit(scale="X2")
    mean = float(np.exp(fit.params[0]))
    variance_of_mean = float(mean**2 * fit.cov_params()[0, 0])  # delta method, log link
    spread = np.sqrt(mean * fit.scale + variance_of_mean)
    assert fit.scale > 1
    low, high = limits(pl.Series(counts))
    assert high == pytest.approx(mean * (1 + 2 / 3 * NORMAL_QUANTILE * spread / mean) ** 1.5)
    assert low == pytest.approx(mean * (1 - 2 / 3 * NORMAL_QUANTILE * spread / mean) ** 1.5)


def test_even_counts_are_not_taken_for_less_than_poisson():
    """The same count every week would else leave no room at all; the dispersion is at least 1."""
    low, high = limits(pl.Series([20] * 10))
    assert low < 10
    assert high > 32


@pytest.mark.parametrize("before", [[20] * 7, [1] * 19, [0] * 26, []])
def test_few_weeks_or_few_claims_tell_nothing(before):
    """Fewer than 8 weeks or 20 claims give no limits."""
    assert limits(pl.Series(before, dtype=pl.Int64)) is None


@pytest.mark.parametrize("mean", [4, 20, 150])
def test_usual_weeks_seldom_warn_and_doubled_ones_do(mean):
    """Of Poisson weeks about two in a thousand are outside; 20,000 drawn with a fixed seed."""
    rng = np.random.default_rng(20261126)
    draws = rng.poisson(mean, (20_000, 27))
    before, week = draws[:, 1:], draws[:, 0]
    bounds = [limits(pl.Series(row)) for row in before[:2_000]]
    outside = np.mean(
        [not low <= one <= high for (low, high), one in zip(bounds, week, strict=False)]
    )
    assert outside < 0.008
    if mean >= 20:
        tripled = np.mean([3 * mean > high for _, high in bounds])
        assert tripled == 1.0


# Defects on 25 wafers of the worked c-chart of NIST/SEMATECH e-Handbook of Statistical Methods,
# section 6.3.3.1: 400 in all, limits 4 and 28, wafer 24 with 31 outside. The counts are from memory
# and are held to that total.
WAFERS = (16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19,
          16, 31, 13)  # fmt: skip


def test_the_wafer_that_a_published_chart_flags_is_flagged():
    """Each wafer against the 24 others: the same one alone lies outside, and near its limits."""
    assert (sum(WAFERS), len(WAFERS), WAFERS[23]) == (400, 25, 31)
    outside = []
    for place, count in enumerate(WAFERS):
        low, high = limits(pl.Series([*WAFERS[:place], *WAFERS[place + 1 :]]))
        if not low <= count <= high:
            outside.append(place + 1)
    assert outside == [24]
    low, high = limits(pl.Series([*WAFERS[:23], WAFERS[24]]))  # the chart without that wafer
    assert low == pytest.approx(4, abs=1)
    assert high == pytest.approx(28, abs=2)
