"""Where a rate steps, against a published change of rate, and a spline against a known curve."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.field.dose_bins import Dose
from pipelines.field.dose_curve import curve
from pipelines.field.dose_rows import Dosed
from pipelines.field.dose_step import _at_steps, _chance, step_of

# British coal-mining disasters by year, 1851 to 1962 (Jarrett 1979, Biometrika 66:191-193; data set
# `coal` of R package boot 1.3, 191 in all): 127 in the 41 years to 1891, 64 in the 71 after. The
# counts are from memory and are held to those totals.
COAL = (
    "454104340633402633545314415534252234213221111300101100310322"
    "0111010100021000110233112111124200014000100000100101"
)


def coal() -> Dosed:
    """Each year as one site that is watched for a year."""
    counts = np.array([int(word) for word in COAL], dtype=float)
    years = np.arange(1851, 1851 + len(counts)).astype(float)
    return Dosed(
        years, np.ones(len(counts)), counts, np.arange(len(counts)), np.ones((len(counts), 1))
    )


def test_the_change_of_coal_mining_disasters() -> None:
    """After 1891 the rate falls from 3.10 to 0.90 a year."""
    data = coal()
    before = data.value <= 1891
    assert (data.failures[before].sum(), data.failures[~before].sum()) == (127, 64)
    row = step_of(Dose("all", "silica_mg_l", 1891.0, "silica", ("water",)), "water", data, 100)
    assert row["step_at"] == 1891
    assert row["ratio"] == pytest.approx(64 / 71 / (127 / 41), rel=1e-6)
    assert row["step_low"] <= 1891 < row["step_high"]
    assert row["p_value"] == pytest.approx(1 / 500)
    assert row["verdict"] == "limit_at_step"
    likelihood, log_ratio, _ = _at_steps(data, data.value, np.array([40]))
    assert np.exp(log_ratio[0]) == pytest.approx(64 / 71 / (127 / 41), rel=1e-6)
    assert np.isfinite(likelihood).all()


def test_a_curve_that_is_known_lies_within_the_limits() -> None:
    """At nine of ten points over simulated sites whose rate rises smoothly with the value."""
    random = np.random.default_rng(7)
    inside = []
    for _ in range(12):
        value = random.uniform(5, 400, 800)
        years = random.uniform(0.5, 2.0, 800)
        rate = 0.05 * (1 + value) ** 0.4
        data = Dosed(
            value,
            years,
            random.poisson(rate * years).astype(float),
            np.arange(800),
            np.ones((800, 1)),
        )
        rows = curve(Dose("all", "silica_mg_l", 100.0, "silica", ("water",)), "water", data, 100)
        assert len(rows) == 40
        for row in rows:
            true = 5 * (1 + row["value"]) ** 0.4
            inside.append(row["low"] <= true <= row["high"])
    assert np.mean(inside) >= 0.9


def by_family(rates: tuple[float, ...]) -> Dosed:
    """Two families at each value, the second with thrice the rate, 100 unit-years a cell."""
    values = np.repeat(np.arange(1.0, len(rates) + 1), 2)
    second = np.tile([0.0, 1.0], len(rates))
    failures = np.repeat(rates, 2) * 100 * np.where(second > 0, 3, 1)
    covariates = np.column_stack([np.ones(len(values)), second])
    return Dosed(values, np.full(len(values), 100.0), failures, np.arange(len(values)), covariates)


def test_each_candidate_is_a_poisson_regression() -> None:
    """Likelihood, ratio and error of every step are those of statsmodels' GLM, row by row."""
    sm = pytest.importorskip("statsmodels.api")
    data = by_family((0.2, 0.3, 0.9, 1.0))
    likelihood, log_ratios, errors = _at_steps(data, np.unique(data.value), np.array([0, 1, 2]))
    found = []
    for place in range(3):
        above = (data.value > place + 1).astype(float)
        design = np.column_stack([data.covariates, above])
        model = sm.GLM(data.failures, design, sm.families.Poisson(), exposure=data.years)
        fit = model.fit(tol=1e-12)
        assert log_ratios[place] == pytest.approx(fit.params[-1], abs=1e-6)
        assert errors[place] == pytest.approx(fit.bse[-1], rel=1e-5)
        found.append(fit.llf)
    # A log-likelihood is known up to what is the same for all candidates.
    assert likelihood - likelihood[0] == pytest.approx(np.array(found) - found[0], abs=1e-5)
    assert int(np.argmax(likelihood)) == 1


def test_the_chance_of_a_step_goes_by_its_largest_likelihood() -> None:
    """A rise and a fall of equal weight: a step beyond the second value has no likelihood at all.

    By hand: 30 and 120 failures up to there and 75 twice after it are the same rate, yet the first
    value lies far below the rest, so that a step is as sure as 499 resamples can tell.
    """
    data = by_family((0.075, 0.3, 0.1875, 0.1875))
    values = np.unique(data.value)
    likelihood, log_ratios, _ = _at_steps(data, values, np.array([0, 1, 2]))
    assert log_ratios[1] == pytest.approx(0, abs=1e-6)
    assert likelihood[0] - likelihood[1] > 10
    assert _chance(data, values, np.array([0, 1, 2]), "any") == pytest.approx(1 / 500)
    assert _chance(data, values, np.array([1]), "any") > 0.5


def test_values_without_a_step_have_a_chance_of_their_own() -> None:
    """Where the rate is the same at every value, resamples go beyond it each time."""
    data = by_family((0.2,) * 4)
    assert _chance(data, np.unique(data.value), np.array([0, 1, 2]), "any") == 1.0
