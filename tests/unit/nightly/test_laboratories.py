"""A laboratory whose results move is told, one whose waters merely vary is not."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from scipy.stats import mannwhitneyu

from pipelines.nightly.laboratories import (
    DRIFT,
    _matters,
    laboratory_drift,
    rank_sum_z,
    two_sided,
)
from schemas.codes import ANALYTES

THROUGH = dt.date(2026, 3, 31)


def statistic(recent: list[float], before: list[float]) -> tuple[float, float]:
    """Rank sum of the recent values and the standardized statistic."""
    both = pl.Series(recent + before)
    ranks = both.rank("average")
    tied = both.value_counts()["count"].cast(pl.Float64)
    ties = float((tied.pow(3) - tied).sum())
    total = float(ranks[: len(recent)].sum())
    arrays = (np.array([float(one)]) for one in (total, len(recent), len(before), ties))
    return total, float(rank_sum_z(*arrays)[0])


def test_the_statistic_of_a_textbook():
    """Permeability of the chorioamnion: W = 35 with n = 10 and 5.

    Source: Hollander & Wolfe 1973, Nonparametric Statistical Methods, p. 69 f., as in the example
    of R's wilcox.test, which prints W = 35.
    """
    term = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
    early = [1.15, 0.88, 0.90, 0.74, 1.21]
    total, _ = statistic(term, early)
    assert total - len(term) * (len(term) + 1) / 2 == 35


@pytest.mark.parametrize("seed", range(8))
def test_p_values_are_those_of_a_reference_library(seed):
    """Ties, unequal windows and the continuity correction, against scipy's mannwhitneyu."""
    rng = np.random.default_rng(seed)
    recent = rng.integers(0, 9, rng.integers(8, 40)).astype(float).tolist()
    before = rng.integers(0, 11, rng.integers(20, 90)).astype(float).tolist()
    expected = mannwhitneyu(recent, before, method="asymptotic", use_continuity=True).pvalue
    _, z = statistic(recent, before)
    assert two_sided(np.array([z]))[0] == pytest.approx(min(expected, 1.0), abs=1e-12)


def test_values_that_are_all_the_same_are_no_drift():
    """No spread, no statistic; not a division by nothing."""
    assert statistic([5.0] * 8, [5.0] * 20)[1] == 0


def samples_of(
    lab: str, ages: range, values: np.ndarray, analyte: str, point="supply"
) -> pl.DataFrame:
    """Water tests of one laboratory, one a day, `ages` days before the last."""
    drawn = [values[place % len(values)] for place in range(len(ages))]
    return pl.DataFrame(
        {
            "lab": [lab] * len(ages),
            "point": [point] * len(ages),
            "sampled_on": [THROUGH - dt.timedelta(days=age) for age in ages],
            **{name: [None] * len(ages) for name in ANALYTES},
            analyte: [float(one) for one in drawn],
        },
        schema={
            "lab": pl.String,
            "point": pl.String,
            "sampled_on": pl.Date,
            **dict.fromkeys(ANALYTES, pl.Float64),
        },
    )


HARD = np.random.default_rng(1).lognormal(5.0, 0.5, 500).round(1)
PH = np.random.default_rng(2).normal(7.4, 0.2, 500).round(2)


def windows(lab: str, recent, before, analyte="hardness_mg_l_caco3", **more) -> pl.DataFrame:
    """Both windows of one laboratory: 28 recent days, 182 before."""
    return pl.concat(
        [
            samples_of(lab, range(28), recent, analyte, **more),
            samples_of(lab, range(28, 210), before, analyte, **more),
        ]
    )


def test_a_change_of_unit_is_told_and_a_sound_laboratory_is_not():
    """Grains for milligrams (17.1 to 1) in one of two laboratories."""
    found = laboratory_drift(
        pl.concat(
            [windows("A", HARD[:28] / 17.1, HARD[28:]), windows("B", HARD[300:], HARD[:200])]
        ),
        THROUGH,
    )
    assert found.select("lab", "analyte", "recent", "before", "drifted").rows() == [
        ("A", "hardness_mg_l_caco3", 28, 182, True),
        ("B", "hardness_mg_l_caco3", 28, 182, False),
    ]


@pytest.mark.parametrize("seed", range(3))
def test_drift_of_tied_results_is_that_of_a_reference_library(seed):
    """Results to the whole unit are tied by the dozen; against scipy's mannwhitneyu."""
    rng = np.random.default_rng(seed)
    recent, before = rng.integers(5, 9, 28).astype(float), rng.integers(5, 8, 182).astype(float)
    found = laboratory_drift(windows("A", recent, before, "hardness_mg_l_caco3"), THROUGH)
    expected = mannwhitneyu(recent, before, method="asymptotic", use_continuity=True).pvalue
    assert found["q_value"].to_list() == pytest.approx([expected], rel=1e-9)


@pytest.mark.parametrize(("step", "drifted"), [(0.25, False), (0.6, True)])
def test_ph_goes_by_steps(step, drifted):
    """A sure shift of a quarter is too small to matter; six tenths are an electrode gone wrong."""
    found = laboratory_drift(windows("A", PH[:28] + step, PH[28:], "ph"), THROUGH)
    assert found["q_value"][0] < 0.01
    assert found["drifted"].to_list() == [drifted]


@pytest.mark.parametrize(("few", "rows"), [(7, 0), (8, 1)])
def test_few_tests_tell_nothing(few, rows):
    """Eight in the last four weeks are needed, and twenty before."""
    tests = pl.concat(
        [
            samples_of("A", range(few), HARD, "silica_mg_l"),
            samples_of("A", range(28, 48), HARD, "silica_mg_l"),
        ]
    )
    assert laboratory_drift(tests, THROUGH).height == rows
    assert laboratory_drift(tests[:-1], THROUGH).is_empty()


def test_windows_end_where_they_say():
    """Day 27 is recent and day 28 is not; day 209 is before and day 210 is not; later ones wait."""
    ages = [*range(-3, 0), *range(8), 27, 28, *range(100, 119), 209, 210]
    tests = pl.concat([samples_of("A", range(age, age + 1), HARD, "ph") for age in ages])
    assert laboratory_drift(tests, THROUGH).select("recent", "before").rows() == [(9, 21)]


def test_treated_water_unknown_laboratories_and_non_detects_are_left_out():
    """They would move with the mix of samples."""
    nameless = windows("A", HARD, HARD).with_columns(lab=pl.lit(None, pl.String))
    assert laboratory_drift(nameless, THROUGH).is_empty()
    assert laboratory_drift(windows("A", HARD, HARD, point="treated"), THROUGH).is_empty()
    empty = laboratory_drift(windows("A", HARD, HARD)[:0], THROUGH)
    assert empty.schema == DRIFT


def test_many_sound_laboratories_hardly_ever_warn():
    """Two hundred comparisons of nothing but chance: none is told."""
    rng = np.random.default_rng(3)
    tests = [
        windows(f"L{place}", rng.lognormal(5, 0.5, 28), rng.lognormal(5, 0.5, 182))
        for place in range(200)
    ]
    assert laboratory_drift(pl.concat(tests), THROUGH)["drifted"].sum() == 0


@pytest.mark.parametrize(
    ("analyte", "now", "then", "matters"),
    [
        ("ph", 7.0, 7.4, True), ("ph", 7.4, 7.0, True), ("ph", 7.0, 7.25, False),
        ("ph", 7.25, 7.0, False), ("silica_mg_l", 10.0, 12.5, False),
        ("silica_mg_l", 10.0, 12.6, True), ("silica_mg_l", 12.6, 10.0, True),
        ("silica_mg_l", 0.0, 0.0, False), ("silica_mg_l", None, 3.0, False),
    ],
)  # fmt: skip
def test_medians_matter_by_a_ratio_or_by_a_step_of_ph(analyte, now, then, matters):
    """Up or down: more than a quarter of the smaller, or more than 0.3 of a pH."""
    row = pl.DataFrame(
        {"analyte": [analyte], "recent_median": [now], "before_median": [then]},
        schema_overrides={"recent_median": pl.Float64},
    )
    assert row.select(_matters()).item() is matters
