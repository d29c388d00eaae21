"""Where a rate steps, against a published change of rate, and a spline against a known curve."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.field.dose_bins import Dose
from pipelines.field.dose_curve import curve
from pipelines.field.dose_rows import Dosed
from pipelines.field.dose_step import _at_steps, step_of

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
