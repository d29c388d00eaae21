"""Profiles of samples and units."""

from datetime import date

import polars as pl
import pytest

from pipelines.water.profiles import (
    FIGURES,
    profile_samples,
    profile_word,
    with_terms,
)
from pipelines.water.unit_profiles import profile_units
from schemas import codes
from schemas.columns import polars_schema
from schemas.histories import WaterProfiles

SETTINGS = {"calcium_share_of_hardness": None, "conductivity_to_tds": 0.65}


def test_every_single_need_has_its_class() -> None:
    """Nothing, one ability, several, and no test each give the word of the contract."""
    needs = [[], *[[ability] for ability in codes.ABILITIES], ["chloride", "scale"], None]
    frame = pl.DataFrame({"needs": needs}, schema={"needs": pl.List(pl.String)})
    words = frame.select(profile_word(pl.col("needs"))).to_series().to_list()
    singles = [codes.PROFILES[ability] for ability in codes.ABILITIES]
    assert words == ["within limits", *singles, "mixed", "untested"]


def test_sample_is_judged_by_the_terms_of_its_unit(water_tests, units, values) -> None:
    """The unit that it names, else the smallest serial at its site, else the latest edition."""
    tests = water_tests({"serial": "U2"}, {"serial": None}, {"serial": None, "site": "S9"})
    judged = with_terms(tests, units, values)
    assert judged["edition"].to_list() == ["new", "old", "new"]
    assert judged["family"].to_list() == ["Beck"] * 3


def test_unit_without_terms_gives_none(water_tests, units, values) -> None:
    """Where no edition applies to the unit, the site's next one judges the sample."""
    bare = units.with_columns(
        edition=pl.when(pl.col("serial") == "U1").then(None).otherwise("edition")
    )
    assert with_terms(water_tests({"serial": "U1"}), bare, values)["edition"].to_list() == ["new"]


def test_table_has_the_promised_columns_one_row_a_sample(
    water_tests, units, limits, values
) -> None:
    """Columns and types are the schema's, rows are in order of the sample, lists hold no null."""
    tests = water_tests({"sample": "B"}, {"sample": "A", "hardness_mg_l_caco3": 90.0})
    table = profile_samples(tests, units, limits, values, **SETTINGS)
    assert table["sample"].to_list() == ["A", "B"]
    assert table["profile"].to_list() == ["within limits", "scale-forming"]
    assert table["worst_ratio"].to_list() == [0.9, 2.0]
    assert table.schema == polars_schema(WaterProfiles)
    WaterProfiles.validate(table)


def test_figures_of_a_sound_water(water_tests, units, limits, values) -> None:
    """A hard water has the figures of PHREEQC (phreeqpython 1.6, phreeqc.dat) for it."""
    row = profile_samples(water_tests({}), units, limits, values, **SETTINGS).row(0, named=True)
    assert row["langelier_25c"] == pytest.approx(0.241, abs=0.02)
    assert row["langelier_100c"] == pytest.approx(0.92, abs=0.03)
    assert row["ryznar_25c"] == pytest.approx(7.21, abs=0.04)
    assert row["scale_ceiling_mg_l"] == 140.0
    assert row["doubts"] == []
    assert row["assumed"] == []


def test_known_figures_are_taken_and_the_others_worked_out(
    water_tests, units, limits, values
) -> None:
    """What is known of a sample stands; needs are told anew; strangers among the known are none."""
    tests = water_tests({"sample": "A", "hardness_mg_l_caco3": 90.0}, {"sample": "B"})
    whole = profile_samples(tests, units, limits, values, **SETTINGS)
    told = whole.with_columns(langelier_25c=pl.lit(9.0), needs=pl.lit(["tds"])).head(1)
    known = pl.concat([told, told.with_columns(sample=pl.lit("C"))]).select("sample", *FIGURES)
    table = profile_samples(tests, units, limits, values, **SETTINGS, known=known)
    first = pl.col("sample") == "A"
    marked = pl.when(first).then(9.0).otherwise("langelier_25c")
    assert table.equals(whole.with_columns(langelier_25c=marked))


def test_table_does_not_depend_on_the_order_of_rows(water_tests, units, limits, values) -> None:
    """Tests, units and limits in reverse give the same table."""
    tests = water_tests({"ph": 7.1}, {"serial": "U3", "site": None}, {"site": "S9", "ph": 9.4})
    forward = profile_samples(tests, units, limits, values, **SETTINGS)
    backward = profile_samples(
        tests.reverse(), units.reverse(), limits.reverse(), values.reverse(), **SETTINGS
    )
    assert forward.equals(backward)


def test_empty_feed_gives_an_empty_table(water_tests, units, limits, values) -> None:
    """No test, no row, all columns."""
    table = profile_samples(water_tests(), units, limits, values, **SETTINGS)
    assert table.schema == polars_schema(WaterProfiles)
    assert table.is_empty()


def unit_rows(tests, units, limits, values, as_of=date(2026, 1, 1)) -> dict[str, dict]:
    """The units' profiles by serial."""
    table = profile_units(tests, units, limits, values, as_of)
    assert table["serial"].to_list() == sorted(units["serial"].to_list())
    return {row["serial"]: row for row in table.iter_rows(named=True)}


def test_unit_takes_the_latest_complete_supply_test_of_its_site_or_serial(
    water_tests, units, limits, values
) -> None:
    """Incomplete, treated, later-seen and other sites' tests do not stand for it."""
    tests = water_tests(
        {"sample": "first", "hardness_mg_l_caco3": 150.0},
        {"sample": "latest", "sampled_on": date(2025, 4, 1), "hardness_mg_l_caco3": 250.0},
        {"sample": "incomplete", "sampled_on": date(2025, 5, 1), "hardness_mg_l_caco3": None},
        {"sample": "treated", "sampled_on": date(2025, 6, 1), "point": "treated"},
        {"sample": "unseen", "sampled_on": date(2025, 6, 1), "reported_on": date(2026, 2, 1)},
        {"sample": "elsewhere", "sampled_on": date(2025, 6, 1), "site": "S7"},
    )
    rows = unit_rows(tests, units, limits, values)
    assert rows["U1"]["sample"] == rows["U2"]["sample"] == "latest"
    assert rows["U1"]["water_profile"] == "scale-forming"
    assert rows["U1"]["severity"] == "severe"
    assert rows["U2"]["water_profile"] == "within limits"
    assert rows["U3"]["water_profile"] == "untested"
    assert rows["U3"]["needs"] == []
    assert rows["U3"]["sample"] is None


def test_unit_without_a_complete_test_takes_the_latest(water_tests, units, limits, values) -> None:
    """Completeness goes by the unit's own panel."""
    tests = water_tests(
        {"sample": "a", "serial": "U3", "site": None, "ph": None},
        {
            "sample": "b",
            "serial": "U3",
            "site": None,
            "ph": None,
            "sampled_on": date(2025, 4, 1),
            "chloride_mg_l": 60.0,
        },
    )
    row = unit_rows(tests, units, limits, values)["U3"]
    assert (row["sample"], row["complete"]) == ("b", False)
    assert row["needs"] == ["chloride", "scale"]
    assert row["water_profile"] == "mixed"


def test_ties_of_a_day_go_by_report_then_sample(water_tests, units, limits, values) -> None:
    """Same day: the later report; then the greater sample. By site and by serial count alike."""
    day = date(2025, 4, 1)
    tests = water_tests(
        {"sample": "z", "sampled_on": day},
        {"sample": "a", "sampled_on": day, "reported_on": date(2025, 4, 9), "serial": "U1"},
        {"sample": "b", "sampled_on": day, "reported_on": date(2025, 4, 9), "serial": "U1"},
    )
    assert unit_rows(tests, units, limits, values)["U1"]["sample"] == "b"
    assert unit_rows(tests.reverse(), units.reverse(), limits, values)["U1"]["sample"] == "b"


def test_day_of_seeing_is_included(water_tests, units, limits, values) -> None:
    """A test reported on the as-of date is seen, one a day later is not."""
    tests = water_tests({"reported_on": date(2025, 3, 9)})
    assert unit_rows(tests, units, limits, values, date(2025, 3, 9))["U1"]["sample"] == "LAB-1"
    assert unit_rows(tests, units, limits, values, date(2025, 3, 8))["U1"]["sample"] is None
