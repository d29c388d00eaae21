"""The mean cumulative function where its variance is but rounding, and where units come back."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from pipelines.field.counted_episodes import CountedEpisodes, Events
from pipelines.field.mean_cumulative import mean_cumulative
from pipelines.field.risk_sets import AgeGrid, Episodes


def mean_of(ages: list[int], weights: list[float], units: int = 3):
    """Units counted from age 0 to 400, each with the same events."""
    zeros = np.zeros(units, np.int64)
    episodes = Episodes(zeros, np.arange(units), zeros, np.full(units, 400))
    events = Events(
        np.tile(np.arange(units), len(ages)),
        np.repeat(ages, units),
        np.repeat(weights, units),
    )
    return mean_cumulative(CountedEpisodes(AgeGrid(1), episodes), events)


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
    counted = CountedEpisodes(AgeGrid(1), Episodes(zeros, np.arange(n), zeros, np.full(n, 400)))
    mean = mean_cumulative(counted, Events(np.array([5]), np.array([30]), np.ones(1)))
    np.testing.assert_allclose(mean.error[0, 400], np.sqrt(1 - 1 / n) / n, rtol=1e-9)
    assert mean.low[0, 400] < mean.value[0, 400] < mean.high[0, 400]


def errors_by_loops(
    episodes: Episodes, events: list[tuple[int, int, float]], ages: int, groups: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and its error, age by age and unit by unit: (E - G)² over all stretches of a unit."""
    mean, error = np.zeros((groups, ages)), np.zeros((groups, ages))
    stretches = list(zip(*episodes, strict=True))
    for group in range(groups):
        owners = {unit for own, unit, _, _ in stretches if own == group}
        differences = dict.fromkeys(owners, 0.0)
        running = 0.0
        for now in range(ages):
            here = {
                unit
                for own, unit, entry, last in stretches
                if own == group and entry <= now <= last
            }
            happened = [
                (stretches[place][1], weight)
                for place, age, weight in events
                if age == now and stretches[place][0] == group
            ]
            if happened:
                step = sum(weight for _, weight in happened) / len(here)
                running += step
                for unit in here:
                    differences[unit] -= step / len(here)
                for unit, weight in happened:
                    differences[unit] += weight / len(here)
            mean[group, now] = running
            error[group, now] = np.sqrt(sum(x**2 for x in differences.values()))
    return mean, error


@pytest.mark.parametrize("seed", range(6))
def test_limits_are_robust_to_a_unit_that_comes_back(seed: int) -> None:
    """Random fleets whose units leave a group and come back to it, past the last age too."""
    random = np.random.default_rng(seed)
    groups, ages = 2, 60
    stretches, events = [], []
    for unit in range(25):
        cuts = np.sort(random.choice(90, random.integers(2, 8), replace=False))
        for begin, end in pairwise(cuts.tolist()):
            if random.random() < 0.8:
                stretches.append((random.integers(groups), unit, begin, end - 1))
                count = random.poisson(0.5 * (1 + unit % 3))
                days = random.integers(begin, end, count).tolist()
                events += [(len(stretches) - 1, day, random.gamma(2.0, 50.0)) for day in days]
    order = random.permutation(len(stretches))
    placed = np.argsort(order)
    episodes = Episodes(*np.array([stretches[place] for place in order]).T)
    moved = [(int(placed[place]), day, weight) for place, day, weight in events]
    assert len(CountedEpisodes(AgeGrid(groups, ages), episodes).returns[0]) > 5
    for cost in (False, True):
        own = [(place, day, weight if cost else 1.0) for place, day, weight in moved]
        place, day, weight = (np.array(column) for column in zip(*own, strict=True))
        counted = CountedEpisodes(AgeGrid(groups, ages), episodes)
        found = mean_cumulative(counted, Events(place, day, weight))
        mean, error = errors_by_loops(episodes, own, ages, groups)
        np.testing.assert_allclose(found.value, mean, rtol=1e-12)
        np.testing.assert_allclose(found.error, error, rtol=1e-9, atol=1e-12)


def test_stretches_of_one_unit_are_no_independent_units() -> None:
    """By hand: 2 of 4 units fail in both of their stretches; (2/4)² each makes 1/2, not 1/√8."""
    zeros = np.zeros(8, np.int64)
    unit, entry = np.repeat(np.arange(4), 2), np.tile([0, 100], 4)
    counted = CountedEpisodes(AgeGrid(1), Episodes(zeros, unit, entry, entry + 90))
    mean = mean_cumulative(counted, Events(np.arange(4), np.array([50, 150] * 2), np.ones(4)))
    assert mean.value[0, 200] == 1
    np.testing.assert_allclose(mean.error[0, [60, 95, 200]], [1 / 4, 1 / 4, 1 / 2])
