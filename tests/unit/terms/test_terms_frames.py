"""Editions become frames with one row an edition and family, and limits in columns."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from pipelines.terms import load_terms
from schemas.codes import ABILITIES

FIRST = """
edition = "A"
effective_from = 2023-01-01
[clock]
start = ["installed_on", "purchased_on"]
days_after_shipment = 75
[coverage]
parts_months = 18
labor_months = 12
[startup]
request_within_days = 40
bonus_parts_months = 12
bonus_labor_months = 6
[claims]
file_within_days = 50
duplicate_within_days = 3
workmanship_days = 80
[water]
panel = ["hardness_mg_l_caco3", "ph"]
limits.hardness_mg_l_caco3 = { max = 70, needs = "scale" }
limits.ph = { min = 6.8, max = 8.8, needs = "ph" }
limits.chloramine_mg_l = { max = 0.1, needs = "chloramine" }
limits.tds_mg_l = { min = 30, needs = "tds" }
[treatment]
sellers = ["MAKER-DIRECT "]
grace_days = 60
[maintenance]
cartridge_months = { mild = 8, normal = 5, severe = 2 }
mild_up_to = 1.1
severe_above = 2.5
cartridge_grace_days = 20
delime_months = 4
delime_grace_days = 15
[installation]
limits.flowing_pressure_psi = { min = 25, max = 65 }
limits.gas_pressure_in_wc.natural = { min = 4.5, max = 13 }
limits.gas_pressure_in_wc.propane = { max = 14 }
"""
SECOND = (
    FIRST.replace('"A"', '"B"').replace("2023-01-01", "2024-06-01")
    + """
[family.BECK]
conditions_off = ["delimed"]
[family.BECK.clock]
latest_days_after_shipment = 400
[family.BECK.coverage]
parts_months = 24
[family.BECK.claims]
documents_within_days = 14
[family.BECK.water]
panel = ["ph"]
limits.ph = { max = 9.5 }
limits.silica_mg_l = { max = 12, needs = "silica" }
[family.BECK.treatment]
judged_by = "cause"
fresh_days = 30
[family.BECK.installation]
must_report = ["level", "sample_taken"]
two_lines_above_f = 90
two_lines_when_treated = true
[family.BECK.maintenance]
look_back_months = 6
cartridge_months.severe = 3
"""
)


@pytest.fixture
def terms(tmp_path: Path):
    """Two editions; the second has a family of its own."""
    folder = tmp_path / "terms"
    folder.mkdir()
    (folder / "z.toml").write_text(FIRST)
    (folder / "a.TOML").write_text(SECOND)
    (folder / ".hidden.toml").write_text("not even toml")
    (folder / "notes.txt").write_text("not terms")
    return load_terms(folder, ["LINN", "BECK"], ABILITIES)


def row(frame: pl.DataFrame, **keys: str) -> dict:
    """The one row with these keys."""
    return frame.filter(**keys).row(0, named=True)


def test_one_row_an_edition_and_family_in_order_of_date(terms):
    """Every edition is laid out for every family, whatever the files are called."""
    pairs = terms.values.select("edition", "family").rows()
    assert pairs == [("A", "BECK"), ("A", "LINN"), ("B", "BECK"), ("B", "LINN")]
    assert [edition.file for edition in terms.editions] == ["terms/z.toml", "terms/a.TOML"]
    assert set(terms.sha256) == {"terms/z.toml", "terms/a.TOML"}


def test_the_values_stand_under_their_names(terms):
    """Each key of an edition is one column, with defaults where the contract has them."""
    assert row(terms.values, edition="A", family="LINN") == {
        "edition": "A",
        "family": "LINN",
        "effective_from": dt.date(2023, 1, 1),
        "clock_order": ["installed_on", "purchased_on"],
        "days_after_shipment": 75,
        "latest_days_after_shipment": None,
        "replacement": "new",
        "parts_months": 18,
        "labor_months": 12,
        "request_within_days": 40,
        "bonus_parts_months": 12,
        "bonus_labor_months": 6,
        "file_within_days": 50,
        "duplicate_within_days": 3,
        "workmanship_days": 80,
        "documents_within_days": 30,
        "panel": ["hardness_mg_l_caco3", "ph"],
        "sellers": ["MAKER-DIRECT"],
        "grace_days": 60,
        "fresh_days": None,
        "judged_by": "water",
        "cartridge_months_mild": 8,
        "cartridge_months_normal": 5,
        "cartridge_months_severe": 2,
        "mild_up_to": 1.1,
        "severe_above": 2.5,
        "cartridge_grace_days": 20,
        "look_back_months": None,
        "delime_months": 4,
        "delime_grace_days": 15,
        "must_report": [],
        "two_lines_above_f": None,
        "two_lines_when_treated": False,
        "conditions_off": [],
    }


def test_a_family_overrides_key_by_key_and_lists_whole(terms):
    """Tables merge key by key, lists and values are replaced, other families keep the base."""
    beck = row(terms.values, edition="B", family="BECK")
    linn = row(terms.values, edition="B", family="LINN")
    assert (beck["parts_months"], beck["labor_months"]) == (24, 12)
    assert (beck["panel"], beck["conditions_off"]) == (["ph"], ["delimed"])
    assert (beck["judged_by"], beck["look_back_months"]) == ("cause", 6)
    assert (beck["fresh_days"], linn["fresh_days"]) == (30, None)
    assert (beck["must_report"], linn["must_report"]) == (["level", "sample_taken"], [])
    assert (beck["two_lines_above_f"], beck["two_lines_when_treated"]) == (90.0, True)
    assert (beck["cartridge_months_mild"], beck["cartridge_months_severe"]) == (8, 3)
    assert beck["latest_days_after_shipment"] == 400
    assert (beck["documents_within_days"], linn["documents_within_days"]) == (14, 30)
    assert (linn["parts_months"], linn["judged_by"], linn["conditions_off"]) == (18, "water", [])


def test_a_family_keeps_the_bound_that_it_does_not_name(terms):
    """A limit is a table too: an override of its maximum keeps minimum and need."""
    ph = row(terms.water_limits, edition="B", family="BECK", analyte="ph")
    assert (ph["min"], ph["max"], ph["needs"]) == (6.8, 9.5, "ph")
    assert row(terms.water_limits, edition="B", family="LINN", analyte="ph")["max"] == 8.8
    assert "silica_mg_l" not in terms.water_limits.filter(family="LINN")["analyte"].to_list()


def test_severity_bounds_are_exact_products(terms):
    """0.1 × 1.1 is 0.11 as decimals; pH and a limit without maximum have no severity."""
    limits = terms.water_limits.filter(edition="A", family="BECK")
    assert limits.select("analyte", "min", "max", "mild_at", "severe_at").rows() == [
        ("chloramine_mg_l", None, 0.1, 0.11, 0.25),
        ("hardness_mg_l_caco3", None, 70.0, 77.0, 175.0),
        ("ph", 6.8, 8.8, None, None),
        ("tds_mg_l", 30.0, None, None, None),
    ]
    assert 0.1 * 1.1 != 0.11  # what floats alone would have said


def test_gas_pressure_has_one_limit_a_gas(terms):
    """The limits of gas pressure are told apart by gas, others have none."""
    sound = terms.installation_limits.filter(edition="A", family="LINN")
    assert sound.select("reading", "gas", "min", "max").rows() == [
        ("flowing_pressure_psi", None, 25.0, 65.0),
        ("gas_pressure_in_wc", "natural", 4.5, 13.0),
        ("gas_pressure_in_wc", "propane", None, 14.0),
    ]


def test_the_editions_can_be_told_in_sentences(terms):
    """The nested tables are kept, merged for a family that has its own."""
    second = terms.editions[1]
    assert second.tables("LINN")["coverage"] == {"parts_months": 18, "labor_months": 12}
    assert second.tables("BECK")["coverage"] == {"parts_months": 24, "labor_months": 12}
    assert list(second.families) == ["BECK"]


def test_terms_without_models_are_read_all_the_same(tmp_path: Path):
    """A workspace that has no models yet has editions, and frames without rows."""
    (tmp_path / "only.toml").write_text("\ufeff" + FIRST)
    terms = load_terms(tmp_path, [], ABILITIES)
    assert terms.values.height == 0
    assert [edition.name for edition in terms.editions] == ["A"]


def test_installation_and_limits_may_be_left_out(tmp_path: Path):
    """A condition without limit is simply not evaluated, so none need be written."""
    bare = FIRST.split("[installation]")[0]
    bare = "\n".join(line for line in bare.splitlines() if not line.startswith("limits."))
    (tmp_path / "only.toml").write_text(bare)
    terms = load_terms(tmp_path, ["BECK"], [])
    assert (terms.values.height, terms.water_limits.height, terms.installation_limits.height) == (
        1,
        0,
        0,
    )
