"""Conditions that an edition switches off."""

from datetime import date

import pytest

from schemas import codes

LATE = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-01-20")


def off(tools, *names):
    """Terms with these conditions switched off."""
    return tools.changed(conditions_off=str(list(names)).replace("'", '"'))


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("records_agree", {"unit": {"retired_on": "2024-08-31"}}),
        ("filed_in_time", {"call": {"claimed_on": "2025-09-10"}}),
        ("agency_authorized", {"call": {"agency": "NOBODY"}}),
        ("cause_established", {"call": {"cause": None}}),
        ("cause_not_excluded", {"call": {"cause": "DROPPED"}}),
        ("within_labor_window", {"call": LATE}),
    ],
)
def test_a_condition_switched_off_is_not_needed_whatever_else_holds(tools, bench, name, given):
    """Its own failing no longer decides, and the reason names the edition."""
    decided = bench.decide(terms=off(tools, name), **given)
    assert tools.outcomes(decided)[name] == "not_needed"
    assert tools.reasons(decided)[name] == "Edition T1 switches this condition off."
    assert tools.decision(decided)["verdict"] == "covered"
    assert tools.outcomes(bench.decide(**given))[name] not in ("met", "not_needed")


def test_what_depends_on_a_cause_goes_by_what_would_have_been(tools, bench):
    """Switched off, a missing cause still leaves 13 to 20 unevaluated."""
    decided = bench.decide(terms=off(tools, "cause_established"), call={"cause": None})
    assert tools.outcomes(decided)["cause_not_excluded"] == "not_evaluated"


@pytest.mark.parametrize(
    ("names", "labor"),
    [
        (["startup_requested_in_time"], "met"),
        (["startup_completed"], "unmet"),
        (["startup_requested_in_time", "startup_completed"], "met"),
    ],
)
def test_in_the_bonus_a_condition_switched_off_counts_as_met(tools, bench, names, labor):
    """Asked for too late but completed: only the request stands in the way."""
    report = {"report": "R", "serial": "U1", "requested_on": "2024-03-01"}
    report |= {"completed_on": "2024-03-05"}
    decided = bench.decide(terms=off(tools, *names), call=LATE, startups=[report])
    assert tools.outcomes(decided)["within_labor_window"] == labor
    assert {tools.outcomes(decided)[name] for name in names} == {"not_needed"}


def test_an_unknown_completion_that_is_switched_off_asks_for_the_request(tools, bench):
    """The window's document is the one that could still settle it."""
    decided = bench.decide(
        terms=off(tools, "startup_completed"), call=LATE, through={"startups": None}
    )
    assert tools.outcomes(decided)["within_labor_window"] == "unknown"
    assert tools.decision(decided)["missing"] == "request date of the start-up"


def test_switched_off_start_up_is_not_needed_before_the_clock_too(tools, bench):
    """Not needed goes before not evaluated."""
    decided = bench.decide(
        terms=off(tools, "startup_completed", "within_parts_window"),
        call=dict.fromkeys(("failed_on", "opened_on"), "2024-01-19"),
    )
    found = tools.outcomes(decided)
    assert found["startup_completed"] == found["within_parts_window"] == "not_needed"
    assert found["within_labor_window"] == "not_evaluated"


def test_everything_may_be_switched_off(tools, bench):
    """Then every claim on the register is covered."""
    decided = bench.decide(terms=off(tools, *codes.CONDITIONS), call={"cause": "DROPPED"})
    assert set(tools.outcomes(decided).values()) == {"not_needed"}
    assert tools.decision(decided)["verdict"] == "covered"


def test_a_family_may_switch_off_its_own(tools, bench):
    """The family's list replaces the edition's, for its units alone."""
    terms = tools.changed(conditions_off='["filed_in_time"]')
    terms += '\n[family.G]\nconditions_off = ["agency_authorized"]\n'
    call = {"agency": None, "claimed_on": None}
    hand = tools.outcomes(bench.decide(terms=terms, call=call))
    assert (hand["filed_in_time"], hand["agency_authorized"]) == ("unknown", "not_needed")
    generator = tools.outcomes(bench.decide(terms=terms, call=call, unit={"model": "GEN"}))
    assert generator["filed_in_time"] == "not_needed"
    assert generator["agency_authorized"] == "unknown"


def test_terms_of_another_edition_do_not_switch_anything_off(tools, bench):
    """The unit's own edition rules."""
    later = off(tools, "filed_in_time").replace('"T1"', '"T2"').replace("2020-01-01", "2024-06-01")
    decided = bench.decide(terms=(tools.BENCH_TERMS, later), call={"claimed_on": None})
    assert tools.outcomes(decided)["filed_in_time"] == "unknown"
    assert tools.decision(decided)["edition"] == "T1"
    assert tools.decision(decided)["clock_start"] == date(2024, 1, 20)


def test_what_one_family_is_not_asked_for_is_asked_of_another(tools, bench):
    """Of two claims without an agency, the one whose family keeps the condition needs it told."""
    terms = tools.BENCH_TERMS + '[family.F]\nconditions_off = ["agency_authorized"]\n'
    other = {
        "serial": "U2",
        "model": "GEN",
        "shipped_on": "2024-01-02",
        "installed_on": "2024-01-20",
    }
    call = tools.CALL | {"agency": None}
    decided = bench.decide(
        call={"agency": None},
        units=[other],
        service_calls=[call | {"call": "C2", "claim": "K2", "serial": "U2"}],
        terms=terms,
    )
    found = [tools.outcomes(decided, claim)["agency_authorized"] for claim in ("K1", "K2")]
    assert found == ["unknown", "not_needed"]
    missing = [tools.decision(decided, claim)["missing"] for claim in ("K1", "K2")]
    assert missing == ["name of the service agency", None]
