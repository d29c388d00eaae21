"""What does not add up in a test, and what was assumed."""

import polars as pl
import pytest

from pipelines.water.profiles import INDICES, water_figures


def figures(tests: pl.DataFrame, share: float | None = None) -> dict:
    """The figures of one test."""
    table = water_figures(tests, calcium_share_of_hardness=share, conductivity_to_tds=0.65)
    return table.row(0, named=True)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"calcium_mg_l_caco3": 200.1}, "calcium 200.1 mg/L is above hardness 200 mg/L"),
        ({"hardness_mg_l_caco3": 11.7}, "may be in grains per gallon"),
        (
            {"free_chlorine_mg_l": 2.0, "total_chlorine_mg_l": 1.9},
            "free chlorine 2 mg/L is above total chlorine 1.9 mg/L",
        ),
        (
            {"free_chlorine_mg_l": 2.0, "total_chlorine_mg_l_below": 0.1},
            "free chlorine 2 mg/L is above total chlorine 0.1 mg/L",
        ),
        ({"hardness_mg_l_caco3": 400.0}, "charge is off by 26 %"),
        ({"ph": 4.2}, "alkalinity 150 mg/L is impossible at pH 4.2"),
        ({"ph": 12.5}, "alkalinity 150 mg/L is impossible at pH 12.5"),
        ({"ph": 4.9}, "under more than 1 atm"),
        ({"alkalinity_mg_l_caco3": 0.0}, "no saturation index: alkalinity is 0"),
        ({"calcium_mg_l_caco3": 0.0}, "no saturation index: calcium is 0"),
        ({"ph": 9.6, "alkalinity_mg_l_caco3": 60.0}, "no index at 100 °C with the cold pH"),
        ({"ph": -1.0}, "pH -1 is impossible"),
        ({"ph": float("nan")}, "pH NaN is impossible"),
        ({"chloride_mg_l": -5.0}, "chloride -5 mg/L is impossible"),
        ({"silica_mg_l": float("inf")}, "silica inf mg/L is impossible"),
        ({"temperature_c": 140.0}, "temperature 140 °C is impossible"),
        ({"temperature_c": 54.0}, "temperature 54 °C is warm for a supply"),
        ({"tds_mg_l": 900.0, "conductivity_us_cm": 500.0}, "do not fit conductivity"),
        ({"chloride_mg_l": 9000.0}, "so salty that its indices are rough"),
        ({"chloride_mg_l": 900000.0}, "too salty"),
    ],
)
def test_each_doubt_is_said(water_tests, changes, words) -> None:
    """A contradiction is named with the values that contradict each other."""
    assert any(words in doubt for doubt in figures(water_tests(changes))["doubts"])


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"calcium_mg_l_caco3": 200.0},
        {"free_chlorine_mg_l": 1.9, "total_chlorine_mg_l": 1.9},
        {"free_chlorine_mg_l_below": 0.1, "total_chlorine_mg_l": 0.05},
        {"hardness_mg_l_caco3": 400.0, "sulfate_mg_l": None},
        {"tds_mg_l": 325.0, "conductivity_us_cm": 500.0},
        {"calcium_mg_l_caco3": None, "ph": None},
    ],
)
def test_sound_and_incomplete_tests_raise_no_doubt(water_tests, changes) -> None:
    """Equal values, a charge that cannot be checked and missing values are no contradiction."""
    assert figures(water_tests(changes))["doubts"] == []


def test_water_without_a_solution_has_no_index_and_a_reason(water_tests) -> None:
    """All figures of the equilibrium are null, not NaN, and the reason stands beside."""
    row = figures(water_tests({"ph": 12.9}))
    assert all(row[name] is None for name in INDICES)
    assert "no saturation index" in row["doubts"][0]
    assert row["scale_ceiling_mg_l"] == 140.0


def test_fixed_ph_index_may_be_missing_alone(water_tests) -> None:
    """Where only boiling water has no solution at the cold pH, the other indices stand."""
    row = figures(water_tests({"ph": 9.6, "alkalinity_mg_l_caco3": 60.0}))
    assert row["langelier_100c_fixed_ph"] is None
    assert row["langelier_100c"] is not None


@pytest.mark.parametrize("missing", ["calcium_mg_l_caco3", "alkalinity_mg_l_caco3", "ph"])
def test_no_index_without_calcium_alkalinity_or_ph(water_tests, missing) -> None:
    """The index is null and the gap is named."""
    row = figures(water_tests({missing: None}))
    assert row["langelier_25c"] is None
    assert row["ccpp_open_mg_l_100c"] is None
    word = {"calcium_mg_l_caco3": "calcium", "ph": "pH"}.get(missing, "alkalinity")
    assert f"no saturation index: {word} missing" in row["assumed"]


def test_declared_share_stands_in_for_calcium(water_tests) -> None:
    """With the setting a missing calcium is assumed, used and said."""
    row = figures(water_tests({"calcium_mg_l_caco3": None}), share=0.7)
    assert row["langelier_25c"] == figures(water_tests({}))["langelier_25c"]
    assert row["assumed"] == ["calcium assumed: 0.7 of the hardness"]


@pytest.mark.parametrize("name", ["chloride", "sulfate", "silica"])
def test_missing_and_undetected_ions_count_as_nothing(water_tests, name) -> None:
    """Missing and non-detect give the same index as 0, and each is said."""
    column = f"{name}_mg_l"
    missing = figures(water_tests({column: None}))
    undetected = figures(water_tests({column: None, f"{column}_below": 2.0}))
    zero = figures(water_tests({column: 0.0}))
    assert missing["langelier_25c"] == undetected["langelier_25c"] == zero["langelier_25c"]
    assert missing["assumed"] == [f"{name} assumed: 0, as it is missing"]
    assert undetected["assumed"] == [f"{name} assumed: 0, as it is below 2 mg/L"]


def test_missing_temperature_is_25_and_said(water_tests) -> None:
    """The figures are those of a sample at 25 °C."""
    row = figures(water_tests({"temperature_c": None}))
    assert row["langelier_25c"] == figures(water_tests({"temperature_c": 25.0}))["langelier_25c"]
    assert row["assumed"] == ["temperature assumed: 25 °C"]


def test_solids_derived_from_conductivity_are_marked(water_tests) -> None:
    """The derived value and its factor are said; a reported one is not derived."""
    derived = figures(water_tests({"conductivity_us_cm": 500.0}))["assumed"]
    assert derived == ["dissolved solids derived: 325 mg/L (0.65 × conductivity)"]
    assert figures(water_tests({"conductivity_us_cm": 500.0, "tds_mg_l": 300.0}))["assumed"] == []


def test_ratio_without_either_acid_is_not_a_silent_zero(water_tests) -> None:
    """Larson-Skold needs chloride or sulfate; one alone is used and the other is said."""
    neither = {"chloride_mg_l": None, "sulfate_mg_l": None}
    assert figures(water_tests(neither))["larson_skold"] is None
    assert figures(water_tests({"sulfate_mg_l": None}))["larson_skold"] > 0.0


def test_silica_index_needs_silica_but_no_calcium(water_tests) -> None:
    """Silica that is not reported has no index; calcium hardly bears on it."""
    assert figures(water_tests({"silica_mg_l": None}))["silica_index_100c"] is None
    with_calcium = figures(water_tests({}))["silica_index_100c"]
    without = figures(water_tests({"calcium_mg_l_caco3": None}))["silica_index_100c"]
    assert without == pytest.approx(with_calcium, abs=0.01)


def test_acid_water_without_an_alkalinity_is_not_said_to_have_one(water_tests):
    """What is not reported is impossible at no pH."""
    said = [
        [doubt for doubt in figures(water_tests({"ph": 4.2} | more))["doubts"] if "at pH" in doubt]
        for more in ({}, {"alkalinity_mg_l_caco3": None})
    ]
    assert [len(doubts) for doubts in said] == [1, 0]


@pytest.mark.parametrize(
    ("tds", "told"), [(399.0, True), (400.0, False), (1000.0, False), (1001.0, True)]
)
def test_solids_fit_a_conductivity_from_two_fifths_to_all_of_it(water_tests, tds, told):
    """Both ends of the range are possible."""
    found = figures(water_tests({"tds_mg_l": tds, "conductivity_us_cm": 1000.0}))["doubts"]
    assert any("do not fit conductivity" in doubt for doubt in found or ()) is told
