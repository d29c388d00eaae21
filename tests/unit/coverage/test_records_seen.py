"""What is seen as of a day, and what of a seen row is not known yet."""

from dataclasses import replace
from datetime import date, datetime

import pytest

from pipelines.coverage import seen

AS_OF = "2025-06-30"


@pytest.mark.parametrize(
    ("feed", "row"),
    [
        ("units", {"serial": "U1", "model": "HAND", "shipped_on": "{}"}),
        ("startups", {"report": "R", "serial": "U1", "requested_on": "{}"}),
        ("startups", {"report": "R", "serial": "U1", "completed_on": "{}"}),
        (
            "water_tests",
            {"sample": "L", "site": "S", "point": "supply", "sampled_on": "{}"},
        ),
        (
            "water_tests",
            {"sample": "L", "point": "supply", "sampled_on": "2025-01-01", "reported_on": "{}"},
        ),
        ("treatment_purchases", {"order": "P", "line": "1", "ordered_on": "{}"}),
        ("service_calls", {"call": "C", "serial": "U1", "kind": "repair", "opened_on": "{}"}),
        ("rulings", {"claim": "K", "ruled_at": "{}T23:59:59", "ruling": "covered"}),
    ],
)
def test_a_row_is_seen_from_its_day_on(tools, feed, row):
    """The day before and the day itself are seen, the day after is not."""
    rows = [
        {key: value.format(day) for key, value in row.items()}
        for day in ("2025-06-29", AS_OF, "2025-07-01")
    ]
    evidence = seen(tools.evidence_of(as_of=AS_OF, **{feed: rows}))
    assert getattr(evidence, feed).get_column("source_line").to_list() == [2, 3]


def test_a_startup_report_with_neither_date_is_seen(tools):
    """Nothing says that it came later."""
    evidence = seen(tools.evidence_of(startups=[{"report": "R", "serial": "U1"}]))
    assert evidence.startups.height == 1


def test_a_startup_is_seen_by_its_request_even_when_completed(tools):
    """A report that was asked for after the day is not seen, whatever its completion says."""
    row = {
        "report": "R",
        "serial": "U1",
        "requested_on": "2025-07-01",
        "completed_on": "2025-06-01",
    }
    assert seen(tools.evidence_of(as_of=AS_OF, startups=[row])).startups.is_empty()


@pytest.mark.parametrize(
    ("feed", "column", "row"),
    [
        ("units", "purchased_on", {"shipped_on": "2025-01-01"}),
        ("units", "installed_on", {"shipped_on": "2025-01-01"}),
        ("units", "retired_on", {"shipped_on": "2025-01-01"}),
        ("startups", "completed_on", {"requested_on": "2025-01-01"}),
        ("startups", "treatment_installed_on", {"requested_on": "2025-01-01"}),
        ("service_calls", "failed_on", {"opened_on": "2025-01-01"}),
        ("service_calls", "completed_on", {"opened_on": "2025-01-01"}),
        ("service_calls", "claimed_on", {"opened_on": "2025-01-01"}),
    ],
)
def test_a_later_date_inside_a_seen_row_is_not_known_yet(tools, feed, column, row):
    """The date stands up to its day and is null before."""
    rows = [row | {column: day} for day in (AS_OF, "2025-07-01")]
    evidence = seen(tools.evidence_of(as_of=AS_OF, **{feed: rows}))
    assert getattr(evidence, feed).get_column(column).to_list() == [date(2025, 6, 30), None]


def test_no_through_date_is_later_than_the_as_of_date(tools):
    """A later one is capped, an earlier one and a missing one stay."""
    through = {"units": date(2025, 12, 31), "startups": date(2025, 6, 29), "rulings": None}
    evidence = seen(tools.evidence_of(as_of=AS_OF, through=through))
    assert evidence.through["units"] == date(2025, 6, 30)
    assert evidence.through["startups"] == date(2025, 6, 29)
    assert evidence.through["rulings"] is None


def test_seeing_twice_is_seeing_once(tools):
    """What was seen stays seen, with its moments untouched."""
    rows = [{"claim": "K", "ruled_at": "2025-06-30T10:00:00", "ruling": "covered"}]
    once = seen(tools.evidence_of(as_of=AS_OF, rulings=rows))
    assert seen(once).rulings.equals(once.rulings)
    assert once.rulings.get_column("ruled_at").to_list() == [datetime(2025, 6, 30, 10)]


def test_a_claim_is_decided_on_what_is_known_by_then(tools, bench):
    """A completion and a filing to come are unknown; a failure falls back to the opening."""
    early = bench.decide(as_of="2024-09-02")
    row = tools.decision(early)
    assert (row["completed_on"], row["claimed_on"]) == (None, None)
    assert tools.outcomes(early)["filed_in_time"] == "unknown"
    call = {"failed_on": "2024-09-05", "opened_on": "2024-09-02"}
    later = bench.decide(as_of="2024-09-04", call=call)
    assert tools.decision(later)["failed_on"] == date(2024, 9, 2)
    assert "no failure date is given" in tools.reasons(later)["records_agree"]


def test_a_claim_that_is_not_seen_is_not_decided(bench):
    """Before the call is opened there is no claim."""
    assert bench.decide(as_of="2024-09-01").decisions.is_empty()


def test_a_feed_without_through_date_proves_no_absence(tools, bench):
    """Silence counts only where the feed is complete; one without a date is complete to no day."""
    call = dict.fromkeys(("failed_on", "opened_on"), "2025-03-01")
    call |= {"completed_on": "2025-03-02", "claimed_on": "2025-03-03"}
    decided = bench.decide(call=call, through={"startups": None})
    assert tools.outcomes(decided)["startup_completed"] == "unknown"
    assert replace(tools.evidence_of(), through={}).complete_to("startups") is not None
