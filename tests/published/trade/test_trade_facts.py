"""Facts of the trade as check values, under terms made for the purpose.

Every figure here is common practice, no source. The terms below put them down; the tests say what
must follow for a claim.
"""

from datetime import date

import pytest

TRADE = """
edition = "TRADE"
effective_from = 2020-01-01
[clock]
start = ["installed_on", "purchased_on"]
days_after_shipment = 60
[coverage]
parts_months = 12
labor_months = 12
[startup]
request_within_days = 30
bonus_parts_months = 12
bonus_labor_months = 12
[claims]
file_within_days = 60
duplicate_within_days = 3
workmanship_days = 90
[water]
panel = ["hardness_mg_l_caco3", "ph"]
limits.tds_mg_l = { min = 30, max = 60, needs = "tds" }
limits.hardness_mg_l_caco3 = { max = 60, needs = "scale" }
limits.free_chlorine_mg_l = { max = 0.1, needs = "chlorine" }
limits.chloramine_mg_l = { max = 0.1, needs = "chloramine" }
limits.chloride_mg_l = { max = 30, needs = "chloride" }
limits.silica_mg_l = { max = 12, needs = "silica" }
limits.sediment_um = { max = 5, needs = "sediment" }
limits.ph = { min = 7, max = 9, needs = "ph" }
[treatment]
sellers = ["MAKER"]
grace_days = 30
[maintenance]
cartridge_months = { mild = 9, normal = 6, severe = 3 }
mild_up_to = 1
severe_above = 2
cartridge_grace_days = 0
delime_months = 3
delime_grace_days = 0
[installation]
limits.flowing_pressure_psi = { min = 30, max = 60 }
limits.gas_pressure_in_wc.natural = { min = 5, max = 14 }
limits.gas_pressure_in_wc.propane = { min = 12, max = 14 }
limits.drain_air_gap_in = { min = 2 }
"""
CAUSES = [
    {"cause": "SCALED", "class": "scale", "water_related": "yes", "excluded": "no"},
    {"cause": "BOARD", "class": "electrical", "water_related": "no", "excluded": "no"},
    {"cause": "GAP", "class": "installation", "water_related": "no", "excluded": "no",
     "reading": "drain_air_gap_in"},
    {"cause": "PRESSURE", "class": "installation", "water_related": "no", "excluded": "no",
     "reading": "flowing_pressure_psi"},
    {"cause": "FLAME", "class": "gas", "water_related": "no", "excluded": "no",
     "reading": "gas_pressure_in_wc"},
]  # fmt: skip
TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-01-15",
        "reported_on": "2024-01-22", "hardness_mg_l_caco3": "59", "ph": "7.5"}  # fmt: skip
SYSTEM = {"order": "P1", "line": "1", "ordered_on": "2024-01-25", "product": "SOFT",
          "quantity": "1", "condition": "new", "seller": "MAKER", "site": "S1"}  # fmt: skip
FITTED = {"call": "I1", "serial": "U1", "kind": "treatment_install", "opened_on": "2024-01-31",
          "completed_on": "2024-01-31", "product": "SOFT"}  # fmt: skip


@pytest.fixture
def trade(bench):
    """Decides the plain claim under the terms of the trade."""

    def decide(**given):
        return bench.decide(terms=TRADE, references={"causes": CAUSES}, **given)

    return decide


def on(day):
    """A call of one day."""
    return dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), day)


@pytest.mark.parametrize("model", ["HAND", "GEN", "BOIL", "ALW"])
@pytest.mark.parametrize(
    ("requested_on", "verdict"), [("2024-02-09", "covered"), ("2024-02-10", "not_covered")]
)
def test_a_startup_asked_for_within_30_days_adds_12_months_to_every_family(
    tools, trade, model, requested_on, verdict
):
    """Completed at any later time: parts and labor are covered for 24 months."""
    report = {"report": "R", "serial": "U1", "requested_on": requested_on}
    report |= {"completed_on": "2025-12-15"}
    year = {"as_of": "2026-06-30", "through": {"startups": date(2026, 6, 30)}}
    given = {"unit": {"model": model}, "startups": [report], **year}
    assert tools.decision(trade(call=on("2026-01-19"), **given))["verdict"] == verdict
    assert tools.decision(trade(call=on("2026-01-20"), **given))["verdict"] == "not_covered"
    assert tools.decision(trade(call=on("2025-01-19"), **given))["verdict"] == "covered"


def test_readings_of_the_trade_are_judged_as_measured(tools, trade):
    """Pressure counts flowing, not at rest; a flooded floor drain gives no air gap."""
    rows = [
        ("PRESSURE", {"flowing_pressure_psi": "30", "static_pressure_psi": "90"}, "met"),
        ("PRESSURE", {"flowing_pressure_psi": "60"}, "met"),
        ("PRESSURE", {"flowing_pressure_psi": "61", "static_pressure_psi": "45"}, "unmet"),
        ("PRESSURE", {"flowing_pressure_psi": "29"}, "unmet"),
        ("PRESSURE", {"static_pressure_psi": "90"}, "not_evaluated"),
        ("FLAME", {"gas": "natural", "gas_pressure_in_wc": "5"}, "met"),
        ("FLAME", {"gas": "natural", "gas_pressure_in_wc": "4.9"}, "unmet"),
        ("FLAME", {"gas": "natural", "gas_pressure_in_wc": "14"}, "met"),
        ("FLAME", {"gas": "propane", "gas_pressure_in_wc": "11.9"}, "unmet"),
        ("FLAME", {"gas": "propane", "gas_pressure_in_wc": "12"}, "met"),
        ("FLAME", {"gas": "propane", "gas_pressure_in_wc": "14.1"}, "unmet"),
        ("GAP", {"drain_air_gap_in": "2"}, "met"),
        ("GAP", {"drain_air_gap_in": "1.9"}, "unmet"),
        ("GAP", {"drain_air_gap_in": "0"}, "unmet"),
    ]

    def make(cause, report, outcome):
        row = {"report": "R", "serial": "U1", "requested_on": "2024-01-15"}
        row |= {"completed_on": "2024-01-25"} | report
        return trade(call={"cause": cause}, startups=[row])

    for (_cause, _report, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.outcomes(decided)["installation_sound"] == outcome


@pytest.mark.parametrize(
    ("inside", "outside", "needs"),
    [
        ({"tds_mg_l": "30"}, {"tds_mg_l": "29"}, "tds"),
        ({"tds_mg_l": "60"}, {"tds_mg_l": "61"}, "tds"),
        ({"hardness_mg_l_caco3": "60"}, {"hardness_mg_l_caco3": "60.1"}, "scale"),
        ({"free_chlorine_mg_l": "0.1"}, {"free_chlorine_mg_l": "0.11"}, "chlorine"),
        (
            {"total_chlorine_mg_l": "0.2", "free_chlorine_mg_l": "0.1"},
            {"total_chlorine_mg_l": "0.21", "free_chlorine_mg_l": "0.1"},
            "chloramine",
        ),
        ({"chloride_mg_l": "30"}, {"chloride_mg_l": "31"}, "chloride"),
        ({"silica_mg_l": "12"}, {"silica_mg_l": "12.5"}, "silica"),
        ({"sediment_um": "5"}, {"sediment_um": "6"}, "sediment"),
        ({"ph": "7"}, {"ph": "6.9"}, "ph"),
        ({"ph": "9"}, {"ph": "9.1"}, "ph"),
    ],
)
def test_water_outside_the_trades_limits_calls_for_its_treatment(
    tools, trade, inside, outside, needs
):
    """At the limit nothing is needed, past it the one ability."""
    given = {"unit": {"model": "GEN"}, "call": {"cause": "SCALED"}}
    assert tools.decision(trade(water_tests=[TEST | inside], **given))["needs"] == []
    assert tools.decision(trade(water_tests=[TEST | outside], **given))["needs"] == [needs]


HARD = {"hardness_mg_l_caco3": "100"}


def test_a_water_failure_is_covered_with_treatment_bought_new_from_the_maker(tools, trade):
    """Bought new, of the maker, fit for the water, installed: each is needed."""
    rows = [
        ({}, [FITTED], "covered"),
        ({"condition": "used"}, [FITTED], "not_covered"),
        ({"seller": "ANOTHER BRAND"}, [FITTED], "not_covered"),
        ({"product": "CHL"}, [FITTED | {"product": "CHL"}], "not_covered"),
        ({}, [FITTED | {"completed_on": "2024-07-02"}], "not_covered"),
        ({}, [], "needs_evidence"),
    ]

    def make(order, calls, verdict):
        return trade(
            unit={"model": "GEN"},
            call=on("2024-04-20") | {"cause": "SCALED"},
            water_tests=[TEST | HARD],
            treatment_purchases=[SYSTEM | order],
            service_calls=calls
            + [
                FITTED | {"call": "D", "kind": "delime", "completed_on": day}
                for day in ("2024-03-01",)
            ],
        )

    for (_order, _calls, verdict), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.decision(decided)["verdict"] == verdict


@pytest.mark.parametrize(
    ("hardness", "last"),
    [("61", "2024-07-31"), ("120", "2024-07-31"), ("121", "2024-04-30")],
)
def test_cartridges_last_six_months_as_a_rule_and_three_in_bad_water(tools, trade, hardness, last):
    """On the last day they are kept up, on the next they are not."""
    for days, outcome in ((0, "met"), (1, "unmet")):
        day = date.fromordinal(date.fromisoformat(last).toordinal() + days)
        decided = trade(
            unit={"model": "GEN"},
            call=on(str(day)) | {"cause": "SCALED"},
            water_tests=[TEST | {"hardness_mg_l_caco3": hardness}],
            treatment_purchases=[SYSTEM],
            service_calls=[FITTED],
        )
        assert tools.outcomes(decided)["treatment_maintained"] == outcome


def test_cartridges_last_nine_months_in_good_water(tools, trade):
    """A model that is always treated, in water within all limits."""
    for day, outcome in (("2024-10-31", "met"), ("2024-11-01", "unmet")):
        decided = trade(
            unit={"model": "ALW"},
            call=on(day) | {"cause": "SCALED"},
            water_tests=[TEST],
            treatment_purchases=[SYSTEM],
            service_calls=[FITTED],
        )
        assert tools.outcomes(decided)["treatment_maintained"] == outcome


def test_units_filled_by_hand_need_neither_treatment_nor_deliming(tools, trade):
    """A scaled unit without water line is covered with no test, treatment or deliming."""
    decided = trade(unit={"model": "HAND"}, call={"cause": "SCALED"})
    assert tools.decision(decided)["verdict"] == "covered"
    generator = tools.outcomes(trade(unit={"model": "GEN"}, call={"cause": "SCALED"}))
    assert generator["water_tested"] == "unknown"
    assert generator["delimed"] == "unknown"


@pytest.mark.parametrize(
    ("model", "by", "outcome"),
    [
        ("BOIL", "technician", "met"),
        ("BOIL", "owner", "unmet"),
        ("GEN", "owner", "met"),
        ("GEN", "technician", "met"),
    ],
)
def test_pressure_boilers_are_delimed_by_technicians_only(tools, trade, model, by, outcome):
    """The owner's work counts for a generator and not for a boiler."""
    done = FITTED | {"kind": "delime", "performed_by": by, "completed_on": "2024-04-01"}
    decided = trade(
        unit={"model": model}, call=on("2024-06-01") | {"cause": "SCALED"}, service_calls=[done]
    )
    assert tools.outcomes(decided)["delimed"] == outcome
