"""Deliming (condition 20), at every boundary."""

from datetime import date

import pytest

DELIMING = {"call": "D1", "serial": "U1", "kind": "delime", "opened_on": "2024-01-20",
            "performed_by": "technician"}  # fmt: skip


def delimed(tools, bench, model, day, *dates, call=None, **given):
    """Condition 20 for a unit of the model that scaled on `day`, delimed on these dates."""
    calls = [
        DELIMING | {"call": f"D{n}", "completed_on": on} | (call or {})
        for n, on in enumerate(dates)
    ]
    claim = {"cause": "SCALED"} | dict.fromkeys(
        ("failed_on", "opened_on", "completed_on", "claimed_on"), day
    )
    decided = bench.decide(
        unit={"model": model},
        call=claim | given.pop("claim", {}),
        service_calls=calls,
        units=[tools.UNIT | {"serial": "U2"}],
        **given,
    )
    return tools.outcomes(decided)["delimed"]


@pytest.mark.parametrize(
    ("model", "cause", "outcome"),
    [
        ("BOIL", "SCALED", "unmet"),
        ("GEN", "SCALED", "unknown"),
        ("ALW", "SCALED", "not_needed"),
        ("HAND", "SCALED", "not_needed"),
        ("BOIL", "CORRODED", "not_needed"),
        ("BOIL", "BOARD", "not_needed"),
        ("BOIL", None, "not_evaluated"),
    ],
)
def test_deliming_bears_on_scale_in_models_that_are_delimed(tools, bench, model, cause, outcome):
    """The technician's absence is unmet, the owner's is asked for."""
    assert delimed(tools, bench, model, "2024-09-01", claim={"cause": cause}) == outcome


# The clock starts on 2024-01-20: due by 2024-04-20, with 10 days of grace by 2024-04-30.
@pytest.mark.parametrize(
    ("day", "dates", "outcome"),
    [
        ("2024-04-30", [], "met"),
        ("2024-05-01", [], "unmet"),
        ("2024-05-01", ["2024-04-30"], "met"),
        ("2024-05-01", ["2024-05-01"], "unmet"),
        ("2024-08-09", ["2024-04-30"], "met"),
        ("2024-08-10", ["2024-04-30"], "unmet"),
        ("2024-08-10", ["2024-08-09", "2024-04-30"], "met"),
        ("2024-05-01", ["2024-01-20"], "unmet"),
        ("2024-05-01", ["2024-01-19"], "unmet"),
        ("2024-05-01", ["2024-05-02"], "unmet"),
        ("2024-05-01", [None], "unmet"),
        ("2024-12-01", ["2024-05-02", "2024-08-02", "2024-11-02"], "unmet"),
    ],
)
def test_each_deliming_is_due_months_and_grace_after_the_one_before(
    tools, bench, day, dates, outcome
):
    """From the clock to the failure, each in one step from the last."""
    assert delimed(tools, bench, "BOIL", day, *dates) == outcome
    owner = delimed(tools, bench, "GEN", day, *dates)
    assert owner == ("met" if outcome == "met" else "unknown")


@pytest.mark.parametrize(
    ("call", "boiler", "generator"),
    [
        ({}, "met", "met"),
        ({"performed_by": "owner"}, "unmet", "met"),
        ({"performed_by": None}, "unmet", "met"),
        ({"serial": "U2"}, "unmet", "unknown"),
        ({"kind": "inspection"}, "unmet", "unknown"),
    ],
)
def test_only_a_technician_delimes_a_boiler(tools, bench, call, boiler, generator):
    """And only the unit's own delimings count, not those at its site."""
    for model, outcome in (("BOIL", boiler), ("GEN", generator)):
        found = delimed(tools, bench, model, "2024-05-01", "2024-04-01", call=call)
        assert found == outcome


@pytest.mark.parametrize(
    ("through", "outcome"),
    [(date(2024, 4, 30), "unknown"), (date(2024, 5, 1), "unmet"), (None, "unknown")],
)
def test_a_missing_technicians_report_counts_once_the_calls_reach_the_failure(
    tools, bench, through, outcome
):
    """Before that it may still come in."""
    through = {"service_calls": through}
    assert delimed(tools, bench, "BOIL", "2024-05-01", through=through) == outcome
    assert delimed(tools, bench, "GEN", "2024-05-01", through=through) == "unknown"


def test_deliming_is_judged_without_a_water_test_and_within_the_grace(tools, bench):
    """Neither a missing test nor the days of grace for treatment bear on it."""
    test = {"sample": "L", "site": "S1", "point": "supply", "sampled_on": "2024-04-30"}
    test |= {"hardness_mg_l_caco3": "150", "ph": "7"}
    assert delimed(tools, bench, "BOIL", "2024-05-01", water_tests=[test]) == "unmet"


def test_a_failure_before_the_clock_has_nothing_to_be_delimed(tools, bench):
    """The only dates are the clock and the failure, and the failure is not late."""
    assert delimed(tools, bench, "BOIL", "2023-01-01") == "met"


def test_delimings_are_cited_by_their_keys_whatever_their_days(tools, bench):
    """The finding of one claim is the same text each time, so its sources have one order."""
    call = {"cause": "SCALED"} | dict.fromkeys(("failed_on", "opened_on"), "2024-05-01")
    dates = ("2024-04-01", "2024-03-01")
    calls = [DELIMING | {"call": f"D{n}", "completed_on": on} for n, on in enumerate(dates)]
    decided = bench.decide(unit={"model": "BOIL"}, call=call, service_calls=calls)
    cited = decided.findings.filter(condition="delimed")["evidence"].item()
    assert [one["key"] for one in cited] == ["C1", "D0", "D1"]
