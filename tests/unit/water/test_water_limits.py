"""What a water test calls for, at and around every limit (decisions in the terms W below)."""

import polars as pl
import pytest

from pipelines.water.limits import analyte_words, needs_of, number_text
from schemas import codes

LIMITS = pl.DataFrame(
    [
        ("W", "F", "hardness_mg_l_caco3", None, 100.0, "scale", 100.0, 200.0),
        ("W", "F", "ph", 6.5, 9.0, "ph", None, None),
        ("W", "F", "chloride_mg_l", None, 50.0, "chloride", 50.0, 100.0),
        ("W", "F", "chloramine_mg_l", None, 0.15, "chloramine", 0.15, 0.3),
    ],
    schema=["edition", "family", "analyte", "min", "max", "needs", "mild_at", "severe_at"],
    orient="row",
)
NUMBERS = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]


def judge(panel=("hardness_mg_l_caco3", "ph"), **values):
    """The row of `needs_of` for one test with these values."""
    test = {"sample": "S", "edition": "W", "family": "F"} | dict.fromkeys(NUMBERS) | values
    schema = {"sample": pl.String, "edition": pl.String, "family": pl.String}
    schema |= dict.fromkeys(NUMBERS, pl.Float64)
    panels = pl.DataFrame({"edition": ["W"], "family": ["F"], "panel": [list(panel)]})
    return needs_of(pl.DataFrame([test], schema=schema), LIMITS, panels).row(0, named=True)


@pytest.mark.parametrize(
    ("hardness", "needs", "severity", "ratio"),
    [
        (99.9, [], "mild", 0.999),
        (100.0, [], "mild", 1.0),
        (100.1, ["scale"], "normal", 1.001),
        (200.0, ["scale"], "normal", 2.0),
        (200.1, ["scale"], "severe", 2.001),
    ],
)
def test_limits_and_severity_bounds_are_inside(hardness, needs, severity, ratio):
    """A value at its limit is within it, and a ratio at a bound belongs to the milder class."""
    row = judge(hardness_mg_l_caco3=hardness, ph=7.0)
    assert (row["needs"], row["severity"], row["worst_ratio"]) == (needs, severity, ratio)
    assert row["complete"]


@pytest.mark.parametrize(
    ("ph", "needs"), [(6.4, ["ph"]), (6.5, []), (9.0, []), (9.1, ["ph"]), (90.0, ["ph"])]
)
def test_ph_has_two_limits_and_no_severity(ph, needs):
    """pH is judged by both bounds and never makes a water severe."""
    row = judge(hardness_mg_l_caco3=50.0, ph=ph)
    assert (row["needs"], row["severity"], row["worst_ratio"]) == (needs, "mild", 0.5)


@pytest.mark.parametrize(
    ("values", "chloramine", "below", "needs"),
    [
        ({"total_chlorine_mg_l": 0.40, "free_chlorine_mg_l": 0.25}, 0.15, None, []),
        ({"total_chlorine_mg_l": 0.41, "free_chlorine_mg_l": 0.25}, 0.16, None, ["chloramine"]),
        ({"total_chlorine_mg_l": 0.2, "free_chlorine_mg_l": 0.3}, 0.0, None, []),
        ({"total_chlorine_mg_l": 0.2, "free_chlorine_mg_l_below": 0.05}, 0.2, None, ["chloramine"]),
        ({"total_chlorine_mg_l": 0.2}, None, None, []),
        ({"total_chlorine_mg_l_below": 0.1, "free_chlorine_mg_l": 0.3}, None, 0.1, []),
        ({"total_chlorine_mg_l_below": 0.5}, None, 0.5, []),
        ({"free_chlorine_mg_l": 0.3}, None, None, []),
    ],
)
def test_chloramine_follows_its_non_detect_rules(values, chloramine, below, needs):
    """Chloramine is the written difference, never negative, and takes over a total's bound."""
    row = judge(hardness_mg_l_caco3=50.0, ph=7.0, **values)
    assert (row["chloramine_mg_l"], row["chloramine_mg_l_below"]) == (chloramine, below)
    assert row["needs"] == needs


@pytest.mark.parametrize(
    ("values", "lacks"),
    [
        ({"hardness_mg_l_caco3": 1.0, "chloride_mg_l_below": 50.0, "iron_mg_l": 0.0}, []),
        (
            {"hardness_mg_l_caco3": 1.0, "chloride_mg_l_below": 50.1, "iron_mg_l": 0.0},
            ["chloride_mg_l"],
        ),
        ({"hardness_mg_l_caco3_below": 9.0, "chloride_mg_l": 1.0, "iron_mg_l_below": 99.0}, []),
        ({}, ["chloride_mg_l", "hardness_mg_l_caco3", "iron_mg_l"]),
    ],
)
def test_a_non_detect_is_reported_only_within_its_maximum(values, lacks):
    """A bound above the maximum counts as missing; without a maximum it counts as reported."""
    row = judge(panel=["iron_mg_l", "hardness_mg_l_caco3", "chloride_mg_l"], **values)
    assert (row["lacks"], row["complete"]) == (lacks, not lacks)


def test_chloramine_may_stand_on_the_panel():
    """A panel that asks for chloramine is met by total and free chlorine."""
    panel = ["chloramine_mg_l"]
    assert judge(panel, total_chlorine_mg_l=1.0, free_chlorine_mg_l=1.0)["complete"]
    assert judge(panel, total_chlorine_mg_l_below=0.15)["complete"]
    assert not judge(panel, total_chlorine_mg_l_below=0.16)["complete"]
    assert not judge(panel, total_chlorine_mg_l=1.0)["complete"]


def test_non_detects_are_left_out_of_the_ratio():
    """A test of non-detects alone is mild with ratio 0 and calls for nothing."""
    row = judge(hardness_mg_l_caco3_below=500.0, ph=7.0)
    assert (row["worst_ratio"], row["severity"], row["needs"]) == (0.0, "mild", [])
    assert row["lacks"] == ["hardness_mg_l_caco3"]


def test_each_value_outside_is_told_in_words():
    """The phrases name the analyte, the value and the limit that it passes."""
    row = judge(hardness_mg_l_caco3=201.0, ph=6.25)
    assert row["outside"] == ["hardness 201 mg/L is above 100", "pH 6.25 is below 6.5"]
    words = pl.DataFrame({"n": [["ph", "iron_mg_l"]], "v": [0.5]})
    assert words.select(analyte_words(pl.col("n")), number_text(pl.col("v"))).row(0) == (
        "pH, iron",
        "0.5",
    )


def test_every_edition_and_family_judges_by_its_own_limits():
    """The same water has one row for each pair that asks; without limits nothing is outside."""
    test = {"sample": ["S", "S"], "edition": ["W", "X"], "family": ["F", "F"]}
    test |= {name: [None, None] for name in NUMBERS} | {"hardness_mg_l_caco3": [150.0, 150.0]}
    frame = pl.DataFrame(test, schema_overrides=dict.fromkeys(NUMBERS, pl.Float64))
    panels = pl.DataFrame(
        {"edition": ["W", "X"], "family": ["F", "F"], "panel": [["ph"], ["hardness_mg_l_caco3"]]}
    )
    rows = needs_of(frame, LIMITS, panels).sort("edition").to_dicts()
    assert [row["needs"] for row in rows] == [["scale"], []]
    assert [row["complete"] for row in rows] == [False, True]
