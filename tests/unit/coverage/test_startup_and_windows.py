"""Start-up and the two windows (conditions 8 to 11), at every boundary."""

from datetime import date

import pytest


def on(day):
    """A call that failed, was done and filed on one day."""
    return dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), day)


# Labor ends on 2025-01-20 without the bonus: only start-up decides about this day.
BETWEEN = on("2025-01-20")
REPORT = {
    "report": "R1",
    "serial": "U1",
    "requested_on": "2024-02-09",
    "completed_on": "2024-02-20",
}


def found(tools, bench, **given):
    """Outcomes of the conditions 8 to 11, in order."""
    outcomes = tools.outcomes(bench.decide(**given))
    return [
        outcomes[name]
        for name in (
            "startup_requested_in_time",
            "startup_completed",
            "within_parts_window",
            "within_labor_window",
        )
    ]


NOT_NEEDED = ["not_needed", "not_needed"]


@pytest.mark.parametrize(
    ("day", "with_startup", "without"),
    [
        ("2024-01-20", [*NOT_NEEDED, "met", "met"], [*NOT_NEEDED, "met", "met"]),
        ("2025-01-19", [*NOT_NEEDED, "met", "met"], [*NOT_NEEDED, "met", "met"]),
        ("2025-01-20", ["met", "met", "met", "met"], ["unmet", "unmet", "met", "unmet"]),
        ("2025-07-19", ["met", "met", "met", "met"], ["unmet", "unmet", "met", "unmet"]),
        ("2025-07-20", ["met", "met", "met", "met"], ["unmet", "unmet", "unmet", "unmet"]),
        ("2026-01-19", ["met", "met", "met", "met"], ["unmet", "unmet", "unmet", "unmet"]),
        ("2026-01-20", ["met", "met", "met", "unmet"], ["unmet", "unmet", "unmet", "unmet"]),
        ("2026-07-19", ["met", "met", "met", "unmet"], ["unmet", "unmet", "unmet", "unmet"]),
        ("2026-07-20", [*NOT_NEEDED, "unmet", "unmet"], [*NOT_NEEDED, "unmet", "unmet"]),
    ],
)
def test_windows_are_half_open_and_the_bonus_bears_only_between(
    tools, bench, day, with_startup, without
):
    """Labor 12, parts 18 months from 2024-01-20, 12 more of each with the start-up."""
    year = {"as_of": "2026-12-31", "through": {"startups": date(2026, 12, 31)}}
    assert found(tools, bench, call=on(day), startups=[REPORT], **year) == with_startup
    assert found(tools, bench, call=on(day), **year) == without


def test_nothing_of_the_window_is_evaluated_before_the_clock_starts(tools, bench):
    """The day before the clock starts contradicts the records and opens no window."""
    assert found(tools, bench, call=on("2024-01-19")) == ["not_evaluated"] * 4


@pytest.mark.parametrize(
    ("report", "outcome"),
    [
        ({"requested_on": "2024-02-08"}, "met"),
        ({"requested_on": "2024-02-09"}, "met"),
        ({"requested_on": "2024-02-10"}, "unmet"),
        ({"requested_on": "2023-12-01"}, "met"),
        ({"requested_on": None, "completed_on": "2024-02-09"}, "met"),
        ({"requested_on": None, "completed_on": "2024-02-10"}, "unknown"),
        ({"requested_on": None, "completed_on": None}, "unknown"),
    ],
)
def test_a_startup_is_requested_within_days_of_the_purchase(tools, bench, report, outcome):
    """Bought on 10 January: day 30 is 9 February; a completion stands in for the request."""
    assert found(tools, bench, call=BETWEEN, startups=[REPORT | report])[0] == outcome


def test_the_earliest_of_several_reports_counts(tools, bench):
    """An early one heals a late one; a late one without request date leaves it open."""
    late = REPORT | {"report": "R2", "requested_on": "2024-03-01", "completed_on": "2024-03-05"}
    assert found(tools, bench, call=BETWEEN, startups=[late, REPORT])[0] == "met"
    blank = REPORT | {"report": "R3", "requested_on": None, "completed_on": "2024-04-01"}
    assert found(tools, bench, call=BETWEEN, startups=[late, blank])[0] == "unknown"
    assert found(tools, bench, call=BETWEEN, startups=[late])[0] == "unmet"


def test_without_purchase_date_the_request_counts_from_the_clock(tools, bench):
    """Clock from 2024-01-20: day 30 is 19 February."""
    unit = {"purchased_on": None}
    for day, outcome in (("2024-02-19", "met"), ("2024-02-20", "unmet")):
        report = REPORT | {"requested_on": day}
        assert found(tools, bench, unit=unit, call=BETWEEN, startups=[report])[0] == outcome


@pytest.mark.parametrize(
    ("through", "requested", "completed"),
    [
        (date(2024, 2, 8), "unknown", "unknown"),
        (date(2024, 2, 9), "unmet", "unknown"),
        (date(2025, 1, 19), "unmet", "unknown"),
        (date(2025, 1, 20), "unmet", "unmet"),
        (None, "unknown", "unknown"),
    ],
)
def test_silence_counts_once_the_reports_reach_the_day(tools, bench, through, requested, completed):
    """The request is missed by its last day, the completion by the failure date."""
    outcomes = found(tools, bench, call=BETWEEN, through={"startups": through})
    assert outcomes[:2] == [requested, completed]


@pytest.mark.parametrize(
    ("completed_on", "through", "outcome"),
    [
        ("2025-01-19", None, "met"),
        ("2025-01-20", None, "met"),
        ("2025-01-21", None, "unmet"),
        (None, None, "unknown"),
        (None, date(2025, 1, 19), "unknown"),
        (None, date(2025, 1, 20), "unmet"),
    ],
)
def test_a_startup_is_completed_by_the_failure(tools, bench, completed_on, through, outcome):
    """The failure date itself still counts; a report without completion is silence."""
    report = REPORT | {"completed_on": completed_on}
    outcomes = found(tools, bench, call=BETWEEN, startups=[report], through={"startups": through})
    assert outcomes[1] == outcome


@pytest.mark.parametrize(
    ("requested_on", "completed_on", "labor"),
    [
        ("2024-02-09", "2024-02-20", "met"),
        ("2024-02-10", "2024-02-20", "unmet"),
        ("2024-02-09", None, "unknown"),
        ("2024-02-10", None, "unmet"),
        (None, "2024-02-20", "unknown"),
        (None, "2025-01-21", "unmet"),
    ],
)
def test_the_bonus_is_unmet_before_unknown_before_met(
    tools, bench, requested_on, completed_on, labor
):
    """Half of the bonus is no use when the other half is lost."""
    report = REPORT | {"requested_on": requested_on, "completed_on": completed_on}
    outcomes = found(tools, bench, call=BETWEEN, startups=[report], through={"startups": None})
    assert outcomes[3] == labor


def test_a_lost_half_asks_for_no_document_of_the_other(tools, bench):
    """The request is late, so the missing completion is not asked for."""
    report = REPORT | {"requested_on": None, "completed_on": "2025-01-21"}
    call = BETWEEN | {"agency": None}
    decided = bench.decide(call=call, startups=[report])
    assert tools.outcomes(decided)["startup_requested_in_time"] == "unknown"
    assert tools.decision(decided)["missing"] == "name of the service agency"


def test_windows_of_different_length_hang_on_the_bonus_one_by_one(tools, bench):
    """Parts still in base time are met while labor hangs on an unknown start-up."""
    decided = bench.decide(call=BETWEEN, through={"startups": None})
    row = tools.decision(decided)
    assert (row["verdict"], row["lead_reason"]) == ("needs_evidence", "startup_requested_in_time")
    assert row["missing"] == (
        "request date of the start-up; start-up report with its completion date"
    )


@pytest.mark.parametrize(
    ("requested_on", "completed_on", "missing"),
    [
        (None, "2024-02-20", "request date of the start-up"),
        ("2024-02-09", None, "start-up report with its completion date"),
    ],
)
def test_only_the_half_that_is_unknown_is_asked_for(
    tools, bench, requested_on, completed_on, missing
):
    """A start-up known to be done needs no report of it, one known to be asked for no request."""
    report = REPORT | {"requested_on": requested_on, "completed_on": completed_on}
    decided = bench.decide(call=BETWEEN, startups=[report], through={"startups": None})
    assert tools.outcomes(decided)["within_labor_window"] == "unknown"
    assert tools.decision(decided)["missing"] == missing


@pytest.mark.parametrize(
    ("purchased_on", "told"),
    [
        ("2024-01-10", "2024-02-09, 30 days after the purchase."),
        (None, "2024-02-19, 30 days after the warranty's start (no purchase date is known)."),
    ],
)
def test_the_finding_says_from_which_day_the_request_counts(tools, bench, purchased_on, told):
    """By hand: 30 days from 10 January or, without a purchase date, from 20 January."""
    report = REPORT | {"requested_on": "2024-02-03"}
    decided = bench.decide(unit={"purchased_on": purchased_on}, call=BETWEEN, startups=[report])
    says = tools.reasons(decided)["startup_requested_in_time"]
    assert says == f"A start-up was asked for no later than 2024-02-03; that was due by {told}"
