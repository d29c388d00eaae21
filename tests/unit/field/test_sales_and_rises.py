"""Shipments to come and what they bring, and since when a chart rises: worked out by hand."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy.optimize import minimize

from pipelines.field.days_to_come import MONTHS, DaysToCome, Shipments, _family
from pipelines.field.dimensions import BANDS
from pipelines.field.early_warning import _expected, chart
from pipelines.field.forecast_draws import DRAWS
from pipelines.field.monthly import complete_months
from pipelines.field.outlook import _over_expected
from pipelines.field.poisson_regression import fitted
from tests.unit.field.test_early_warning import WHOLE


@pytest.mark.parametrize(
    ("counts", "mean", "spread"),
    [
        # Squares about 5 of 9, 1, 1, 9 over the mean and the three that are free.
        ([2.0, 4.0, 6.0, 8.0], 5.0, 20 / 5 / 3),
        ([1.0, 9.0] * 6, 5.0, 12 * 16 / 5 / 11),
        ([2.0, 8.0], 5.0, 18 / 5),
        ([5.0, 5.0, 5.0], 5.0, 1.0),
        ([40.0] + [5.0] * 12, 5.0, 1.0),  # the last twelve months alone
        ([7.0], 7.0, 1.0),
        ([0.0, 0.0], 0.0, 1.0),
    ],
)
def test_shipments_are_the_mean_of_a_year_and_vary_as_they_did(
    counts: list[float], mean: float, spread: float
) -> None:
    """A third of the month is left: a third of the mean, then the mean; draws are whole spreads."""
    told = _family(np.array(counts), 1 / 3)
    assert told.expected == pytest.approx([mean / 3, *[mean] * MONTHS])
    assert told.trend is None
    drawn = told.draw(400, np.random.default_rng(3)) / spread
    assert drawn.shape == (400, MONTHS + 1)
    assert drawn == pytest.approx(np.round(drawn), abs=1e-6)
    if mean:
        assert (drawn * spread)[:, 1:].mean() == pytest.approx(
            mean + spread / len(counts[-12:]) / 2, rel=0.1
        )


def test_more_shipments_bring_more_failures_from_the_first_month_on() -> None:
    """One unit shipped has 1, 2, 3, … failures in the months since; two kinds of it share them.

    Shipments twice as many bring twice the failures in all twelve months; three in place of one
    this month bring (1 + 2 + 2 x 2) / (1 + 2) next month, and so on.
    """
    bands = len(BANDS)
    kinds = pl.DataFrame({"family": ["Beck", "Beck", "Skerry"], "needs": ["none", "scale", "none"]})
    cells = kinds.join(pl.DataFrame({"age": BANDS}), how="cross", maintain_order="left_right")
    days = np.zeros((3, bands, MONTHS + 1))
    days[0, 0] = days[1, 1] = np.arange(1.0, MONTHS + 2)
    days[2] = 1000.0  # of the other family
    rates = np.zeros((3, bands))
    rates[0, 0], rates[1, 1], rates[2] = 3.0, 1.0, 9.0
    found = SimpleNamespace(cells=cells, rates=rates.reshape(-1))
    counts = np.ones((DRAWS, MONTHS + 1))
    counts[0], counts[1, 0] = 2.0, 3.0
    own = Shipments(np.ones(MONTHS + 1), lambda *_: counts, None, None)
    ratios = _over_expected(
        own, "Beck", DaysToCome(kinds, days), {"Beck": 4}, found, np.random.default_rng(1)
    )
    assert ratios[:, 0] == pytest.approx(np.full(MONTHS, 2.0))
    each = np.arange(1.0, MONTHS + 2)  # 3 x and 1 x of four units
    by_hand = [1 + 2 * each[month] / each[: month + 1].sum() for month in range(1, MONTHS + 1)]
    assert by_hand[0] == pytest.approx(7 / 3)
    assert ratios[:, 1] == pytest.approx(by_hand)
    assert ratios[:, 2] == pytest.approx(np.ones(MONTHS))


def test_an_age_that_nobody_was_in_takes_the_rate_of_all_ages() -> None:
    """6 failures in 300 days; the second band has days this month alone, and counts as the rest."""
    days = np.array([[[100.0, 200.0, 50.0], [0.0, 0.0, 50.0]]])
    failures = np.array([[[2.0, 4.0, 0.0], [0.0, 0.0, 0.0]]])
    quiet = np.zeros((1, 3), bool)
    mean, behind = _expected(days, failures, quiet, (0, 2), 2)
    assert (mean.tolist(), behind.tolist()) == ([pytest.approx(2.0)], [6.0])
    # A month in alarm counts neither in failures nor in days; without a failure half a one is.
    quiet[0, 1] = True
    mean, behind = _expected(days, failures, quiet, (0, 2), 2)
    assert (mean.tolist(), behind.tolist()) == ([pytest.approx(2.0)], [2.0])
    mean, behind = _expected(days, failures * 0, quiet, (0, 2), 2)
    assert (mean.tolist(), behind.tolist()) == ([pytest.approx(0.5)], [0.0])


def test_a_rise_begins_after_the_month_in_which_the_sum_last_stood_at_nought() -> None:
    """Month by month as many months back as the sum has been above nought without a break."""
    counts = [1, 0, 2, 0, 1, 0] * 5 + [0] * 6 + [3, 2, 3, 0, 4, 0, 0, 0, 0, 0]
    days = np.full((1, 1, len(counts)), 1800.0)
    path = chart(days, np.array(counts, float).reshape(1, 1, -1), WHOLE[: len(counts)], 200)
    back = 0
    seen = set()
    for month, total in enumerate(path.sums[0].tolist()):
        if np.isnan(total):
            continue
        back = back + 1 if total > 0 else 0
        assert path.rise[0, month] == max(back - 1, 0), month
        seen.add(back)
    assert {0, 1, 2, 3} <= seen


@pytest.mark.parametrize("strength", [0.01, 1.0, 50.0, 2000.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_penalized_regression_stands_at_the_maximum(strength: float, seed: int) -> None:
    """Beside scipy's minimum of the same sum, written out here; the constant has no penalty."""
    random = np.random.default_rng(seed)
    design = np.column_stack([np.ones(60), random.normal(size=(60, 3))])
    years = random.uniform(0.5, 3, 60)
    y = random.poisson(years * np.exp(design @ np.array([1.0, -1.5, 0.8, 2.0]))).astype(float)
    prior = np.array([0.0, strength, strength, strength])

    def minus(at: np.ndarray) -> float:
        line = design @ at
        return float(years @ np.exp(line) - y @ line + prior @ at**2 / 2)

    start = np.array([np.log(y.sum() / years.sum()), 0.0, 0.0, 0.0])
    best = minimize(minus, start, method="BFGS", options={"gtol": 1e-7})
    found = fitted(design, y, years, prior)
    assert found.terms == pytest.approx(best.x, abs=2e-5)
    assert minus(found.terms) <= minus(best.x) + 1e-7
    assert found.likelihood == pytest.approx(-minus(found.terms) + prior @ found.terms**2 / 2)


@pytest.mark.parametrize(
    ("first", "as_of", "months"),
    [
        ("2025-01-01", "2025-02-28", ["2025-01-01", "2025-02-01", "2025-03-01"]),
        ("2025-01-02", "2025-02-27", ["2025-01-01", "2025-02-01"]),
        ("2025-01-01", "2025-01-31", ["2025-01-01", "2025-02-01"]),
        ("2025-01-15", "2025-02-10", ["2025-01-01", "2025-02-01"]),
        ("2025-02-05", "2025-02-10", ["2025-02-01", "2025-03-01"]),
    ],
)
def test_months_are_complete_or_the_running_one(first: str, as_of: str, months: list) -> None:
    """Those that are over, from that of the first day watched; without any, the one that runs."""
    units = pl.DataFrame({"watched_from": [dt.date.fromisoformat(first)]})
    context = SimpleNamespace(units=units, as_of=dt.date.fromisoformat(as_of))
    assert [day.isoformat() for day in complete_months(context)] == months
