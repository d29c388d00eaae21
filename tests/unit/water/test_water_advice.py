"""Advice for a water and a model."""

import json
from datetime import date

import pytest

from pipelines.errors import UsageError
from pipelines.water.advice import Duty, advise, typed_test
from pipelines.water.advice_generator import deliming_lines, evaporated_l_per_h
from pipelines.water.advice_parts import STANDINGS, listed, shown
from pipelines.water.advice_text import render_text

MODEL = {
    "model": "Beck 6",
    "family": "Beck",
    "needs_treatment": True,
    "always_treat": False,
    "delime_by": "owner",
    "feed_l_per_h": 12.0,
}
REGION = {"region": "US-MN", "coldest_supply_c": 3.0}
DUTY = Duty(tanks_l=(30.0, 60.0), duty_hours_per_day=10.0)


@pytest.fixture
def ask(treatments, limits, values):
    """Advice under the old edition unless told otherwise."""

    def build(tests, model=None, **changes):
        options = {
            "duty": DUTY,
            "calcium_share_of_hardness": None,
            "conductivity_to_tds": 0.65,
            "edition": "old",
        }
        region = changes.pop("region", REGION)
        return advise(
            tests,
            {**MODEL, **(model or {})},
            treatments,
            region,
            limits,
            values,
            **(options | changes),
        )

    return build


def said(advice, topic: str) -> str:
    """All lines of a topic."""
    return " ".join(line.text for line in advice.lines if line.topic == topic)


HARSH = {"chloride_mg_l": 60.0, "total_chlorine_mg_l": 1.4, "free_chlorine_mg_l": 0.4}


def test_harsh_water_is_advised_on_throughout(water_tests, ask) -> None:
    """Needs, choices, membrane, tank, cartridge, generator, scale and deliming are all there."""
    advice = ask(water_tests(HARSH))
    assert advice.needs == ["chloramine", "chloride", "scale"]
    assert advice.profile == "mixed"
    assert advice.offered[0].products == ("CARBON", "RO-16")
    assert "Hardness 200 mg/L: outside the limit (up to 100 mg/L); calls for: scale." in said(
        advice, "water"
    )
    assert "RO-BAD removes chloramine" in said(advice, "treatment")
    assert "RO-16 makes 7.1 L/h at the coldest supply of 3 °C" in said(advice, "reverse osmosis")
    assert "A tank of 30 L runs short" in said(advice, "reverse osmosis")
    assert "smallest tank that never runs dry behind RO-16 is 60 L" in said(
        advice, "reverse osmosis"
    )
    assert "Change CARBON-C (for CARBON) after 75 days" in said(advice, "cartridge")
    assert "ask for the chloramine rating" in said(advice, "cartridge")
    assert "rust a cavity through within one to two days" in said(advice, "corrosion")
    assert "120 L a day" in said(advice, "generator")
    assert "at most 511 g of calcium carbonate a month" in said(advice, "scale")
    assert "every 0.9 to 2.9 months" in said(advice, "deliming")


def test_every_line_has_a_standing_and_risky_work_its_cautions(water_tests, ask) -> None:
    """Deliming names acid, chlorine, eyes, rinsing and power; an index is no proof."""
    advice = ask(water_tests(HARSH))
    assert {line.standing for line in advice.lines} <= set(STANDINGS)
    deliming = " ".join(
        caution for line in advice.lines if line.topic == "deliming" for caution in line.cautions
    )
    for word in ("acid", "chlorine", "eyes", "rinse", "de-energized", "licensed", "local code"):
        assert word in deliming
    indices = [line for line in advice.lines if line.topic == "indices"]
    assert indices
    assert all("never proof of cause" in line.cautions[0] for line in indices)


def test_advice_is_ready_for_json_and_for_a_terminal(water_tests, ask) -> None:
    """JSON without NaN; the text shows standings, cautions and assumptions."""
    advice = ask(water_tests({**HARSH, "temperature_c": None, "ph": 12.9}))
    plain = json.loads(json.dumps(advice.to_dict(), allow_nan=False))
    assert plain["sampled_on"] == "2025-03-01"
    assert plain["combinations"][0]["products"] == ["CARBON", "RO-16"]
    text = render_text(advice)
    assert "Temperature assumed: 25 °C. [bound]" in text
    assert "Doubt: alkalinity 150 mg/L is impossible at pH 12.9" in text
    assert "! Caution:" in text
    assert max(len(line) for line in text.splitlines()) <= 96


def test_mild_water_calls_for_nothing(water_tests, ask) -> None:
    """Within limits: no treatment, no tanks; a model always to be treated gets scale."""
    soft = {"hardness_mg_l_caco3": 40.0, "calcium_mg_l_caco3": 30.0}
    advice = ask(water_tests(soft))
    assert advice.needs == []
    assert "No treatment is called for." in said(advice, "treatment")
    assert advice.tanks.is_empty()
    assert advice.levels.is_empty()
    always = ask(water_tests(soft), {"always_treat": True})
    assert always.needs == ["scale"]
    assert "always to be treated" in said(always, "needs")


def test_frames_for_the_pictures_are_complete(water_tests, ask) -> None:
    """Each analyte once with its limit; each tank over 168 hours."""
    advice = ask(water_tests(HARSH))
    assert advice.analytes["analyte"].is_unique().all()
    assert {"value", "below", "min", "max", "outside"} <= set(advice.analytes.columns)
    hours = advice.levels.group_by("product", "tank_l").len()["len"]
    assert set(hours) == {168}
    assert set(advice.tanks["product"]) == {"RO-16", "RO-BAD"}


def test_latest_complete_supply_test_of_a_site_is_taken(water_tests, ask) -> None:
    """Treated and incomplete tests stand back."""
    advice = ask(
        water_tests(
            {"sample": "old"},
            {"sample": "good", "sampled_on": date(2025, 4, 1)},
            {"sample": "partial", "sampled_on": date(2025, 5, 1), "ph": None},
            {"sample": "treated", "sampled_on": date(2025, 6, 1), "point": "treated"},
        )
    )
    assert advice.test["sample"] == "good"


def test_latest_edition_is_the_default(water_tests, ask) -> None:
    """Without an edition the one that took effect last judges."""
    assert ask(water_tests(HARSH), edition=None).edition == "new"


def test_gaps_on_file_are_said_not_guessed(water_tests, ask) -> None:
    """No coldest temperature, no feed, no calcium: each is named."""
    advice = ask(water_tests(HARSH), region=None)
    assert "coldest supply temperature is not on file" in said(advice, "reverse osmosis")
    assert advice.tanks.is_empty()
    unfed = ask(water_tests(HARSH), {"feed_l_per_h": None})
    assert "feed of Beck 6 is not on file" in said(unfed, "generator")
    bare = ask(water_tests({"calcium_mg_l_caco3": None}))
    assert "no saturation index: calcium missing" in said(bare, "water").replace("No sat", "no sat")
    assert said(bare, "scale") == ""


def test_membrane_that_cannot_keep_up_is_told_from_a_small_tank(water_tests, ask) -> None:
    """A feed above a day's output is said to run any tank dry."""
    advice = ask(water_tests(HARSH), {"feed_l_per_h": 20.0})
    assert "None of the tanks on sale keeps RO-16 serving" in said(advice, "reverse osmosis")


def test_typed_values_become_a_test(ask) -> None:
    """Typed values work like a record; a name that is no analyte is refused with the list."""
    advice = ask(typed_test({"hardness_mg_l_caco3": 180.0, "ph": 6.5}))
    assert advice.needs == ["ph", "scale"]
    assert "pH 6.5 is below 7 and so corrosive" in said(advice, "corrosion")
    with pytest.raises(UsageError) as caught:
        typed_test({"hardnes": 1.0})
    assert "hardnes is no analyte" in str(caught.value)


def test_unknown_family_and_empty_tests_are_user_errors(water_tests, ask) -> None:
    """Both say what to look at."""
    with pytest.raises(UsageError) as caught:
        ask(water_tests(HARSH), {"family": "Linn"})
    assert "do not know the family Linn" in str(caught.value)
    with pytest.raises(UsageError) as caught:
        ask(water_tests())
    assert "no water test" in str(caught.value)


def test_evaporation_goes_by_power_but_never_above_the_feed() -> None:
    """6 kW evaporate about 8.3 L/h of cold feed; 60 kW no more than is fed."""
    weak = Duty((60.0,), 10.0, power_kw=6.0)
    assert evaporated_l_per_h(12.0, weak) == pytest.approx(8.27, abs=0.02)
    assert evaporated_l_per_h(12.0, Duty((60.0,), 10.0, power_kw=60.0)) == 12.0


def test_terms_interval_goes_first_where_it_is_shorter() -> None:
    """Soft water does not stretch deliming beyond the terms; no delimer, no interval."""
    line = deliming_lines("technician", 4, 100.0, 10.0, DUTY)[0]
    assert "every 7.2 to 24 months" in line.text
    assert "every 4 months by the technician: the shorter of the two goes first" in line.text
    assert deliming_lines("none", 4, 100.0, 10.0, DUTY)[0].text == "This model is not delimed."
    assert "set no hardness limit" in deliming_lines("owner", 4, None, 10.0, DUTY)[0].text
    assert "calcium or alkalinity is missing" in deliming_lines("owner", 4, 9.0, None, DUTY)[0].text
    assert "no calcium carbonate" in deliming_lines("owner", 4, 9.0, 0.0, DUTY)[0].text


def test_numbers_and_lists_read_as_written() -> None:
    """No trailing zeros, no minus zero, commas and `and`."""
    assert [shown(1.50, 2), shown(-0.001, 1), shown(120.0), shown(0.04, 3)] == [
        "1.5",
        "0",
        "120",
        "0.04",
    ]
    assert listed(["a"]) == "a"
    assert listed(("a", "b", "c")) == "a, b and c"
