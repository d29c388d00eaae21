"""Cause and installation (conditions 12 to 14)."""

import pytest

AFTER_CAUSE = (
    "cause_not_excluded",
    "installation_sound",
    "water_tested",
    "treatment_bought_new",
    "treatment_suits_water",
    "treatment_installed",
    "treatment_maintained",
    "delimed",
)


@pytest.mark.parametrize("cause", [None, "MYSTERY"])
@pytest.mark.parametrize("model", ["HAND", "GEN"])
def test_without_a_listed_cause_nothing_after_is_evaluated(tools, bench, cause, model):
    """No cause, or one that causes.csv lacks, is unknown, whatever the model needs."""
    found = tools.outcomes(bench.decide(unit={"model": model}, call={"cause": cause}))
    assert found["cause_established"] == "unknown"
    assert {found[name] for name in AFTER_CAUSE} == {"not_evaluated"}


def test_an_excluded_cause_is_unmet(tools, bench):
    """Misuse is not covered."""
    decided = bench.decide(call={"cause": "DROPPED"})
    assert tools.outcomes(decided)["cause_not_excluded"] == "unmet"
    assert tools.decision(decided)["verdict"] == "not_covered"


def sound(tools, bench, cause, *reports, **given):
    """The outcome of condition 14 for a cause and start-up reports."""
    rows = [
        {"report": f"R{n}", "serial": "U1", "requested_on": "2024-01-15"}
        | {"completed_on": "2024-01-25"}
        | report
        for n, report in enumerate(reports)
    ]
    decided = bench.decide(call={"cause": cause}, startups=rows, **given)
    return tools.outcomes(decided)["installation_sound"]


@pytest.mark.parametrize(
    ("cause", "report", "outcome"),
    [
        ("BOARD", {"flowing_pressure_psi": "99"}, "not_needed"),
        ("BURST", {"flowing_pressure_psi": "29.9"}, "unmet"),
        ("BURST", {"flowing_pressure_psi": "30"}, "met"),
        ("BURST", {"flowing_pressure_psi": "60"}, "met"),
        ("BURST", {"flowing_pressure_psi": "60.1"}, "unmet"),
        ("BURST", {"static_pressure_psi": "99"}, "not_evaluated"),
        ("BURNER", {"gas": "natural", "gas_pressure_in_wc": "10"}, "met"),
        ("BURNER", {"gas": "natural", "gas_pressure_in_wc": "10.1"}, "unmet"),
        ("BURNER", {"gas": "propane", "gas_pressure_in_wc": "10.1"}, "met"),
        ("BURNER", {"gas": "propane", "gas_pressure_in_wc": "9.9"}, "unmet"),
        ("BURNER", {"gas": "none", "gas_pressure_in_wc": "1"}, "not_evaluated"),
        ("BURNER", {"gas_pressure_in_wc": "99"}, "not_evaluated"),
        ("BURNER", {"gas": "natural"}, "not_evaluated"),
        ("TILTED", {"level": "yes"}, "met"),
        ("TILTED", {"level": "no"}, "unmet"),
        ("TILTED", {}, "not_evaluated"),
    ],
)
def test_a_reading_is_judged_where_the_cause_points_to_it(tools, bench, cause, report, outcome):
    """Bounds are included; a gas pressure takes the limit of its gas; level needs none."""
    assert sound(tools, bench, cause, report) == outcome


def test_without_a_report_or_a_limit_nothing_is_evaluated(tools, bench):
    """The absence of proof does not count against the installation."""
    assert sound(tools, bench, "BURST") == "not_evaluated"
    terms = tools.BENCH_TERMS.replace("limits.flowing_pressure_psi = { min = 30, max = 60 }", "")
    report = {"flowing_pressure_psi": "99"}
    assert sound(tools, bench, "BURST", report, terms=terms) == "not_evaluated"


def test_one_bound_may_be_missing(tools, bench):
    """A minimum alone leaves the other side open."""
    terms = tools.BENCH_TERMS.replace("{ min = 30, max = 60 }", "{ min = 30 }")
    assert sound(tools, bench, "BURST", {"flowing_pressure_psi": "999"}, terms=terms) == "met"
    assert sound(tools, bench, "BURST", {"flowing_pressure_psi": "29"}, terms=terms) == "unmet"


@pytest.mark.parametrize(
    ("second", "outcome"),
    [
        ({"completed_on": "2024-01-24"}, "met"),
        ({"completed_on": "2024-01-26"}, "unmet"),
        ({"completed_on": "2024-09-01"}, "unmet"),
        ({"completed_on": "2024-09-02"}, "met"),
        ({"completed_on": None}, "met"),
        ({}, "unmet"),
        ({"report": "A"}, "met"),
    ],
)
def test_the_report_completed_last_by_the_failure_is_looked_at(tools, bench, second, outcome):
    """Of two on one day the greater report number counts."""
    first = {"flowing_pressure_psi": "45"}
    later = {"flowing_pressure_psi": "99"} | second
    assert sound(tools, bench, "BURST", first, later) == outcome
    assert sound(tools, bench, "BURST", later | {"report": later.get("report", "R1")},
                 first | {"report": "R0"}) == outcome  # fmt: skip


def test_the_last_report_is_taken_even_where_it_lacks_the_value(tools, bench):
    """An earlier report does not stand in for the last one."""
    assert (
        sound(tools, bench, "BURST", {"flowing_pressure_psi": "99"}, {"completed_on": "2024-02-01"})
        == "not_evaluated"
    )
