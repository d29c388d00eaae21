"""The mean cumulative function where its variance is nothing but rounding."""

from __future__ import annotations

import numpy as np

from pipelines.field.mean_cumulative import Events, Watched, mean_cumulative
from pipelines.field.risk_sets import AgeGrid, Episodes


def mean_of(ages: list[int], weights: list[float], units: int = 3):
    """Units watched from age 0 to 400, each with the same events."""
    zeros = np.zeros(units, np.int64)
    episodes = Episodes(zeros, np.arange(units), zeros, np.full(units, 400))
    events = Events(
        np.tile(np.arange(units), len(ages)),
        np.repeat(ages, units),
        np.repeat(weights, units),
    )
    return mean_cumulative(Watched(AgeGrid(1), episodes), events)


def test_units_that_fail_alike_have_no_limits() -> None:
    """By hand: every unit's own sum is the mean, so the robust variance is exactly 0."""
    for weights in ([1.0, 1.0, 1.0], [0.1, 0.7, 1234.56]):
        mean = mean_of([7, 100, 101], weights)
        np.testing.assert_allclose(mean.value[0, 400], sum(weights), rtol=1e-12)
        assert (mean.error == 0).all()
        assert np.isnan(mean.low).all()
        assert np.isnan(mean.high).all()


def test_a_single_failure_among_a_million_keeps_its_limits() -> None:
    """By hand: one of n failed, so the variance is (1 - 1/n)/n²: small, but no rounding."""
    n = 1_000_000
    zeros = np.zeros(n, np.int64)
    watched = Watched(AgeGrid(1), Episodes(zeros, np.arange(n), zeros, np.full(n, 400)))
    mean = mean_cumulative(watched, Events(np.array([5]), np.array([30]), np.ones(1)))
    np.testing.assert_allclose(mean.error[0, 400], np.sqrt(1 - 1 / n) / n, rtol=1e-9)
    assert mean.low[0, 400] < mean.value[0, 400] < mean.high[0, 400]
