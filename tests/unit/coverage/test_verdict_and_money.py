"""What findings add up to, what is paid, and what a ruling makes of it."""

from decimal import Decimal

import polars as pl
import pytest

from pipelines.coverage.verdict import verdicts, verdicts_if_settled
from schemas import codes
from schemas.columns import polars_schema
from schemas.decisions import Decisions


def verdict(**outcomes):
    """The row of `verdicts` where all conditions are met but these."""
    row = {"claim": "K1"} | dict.fromkeys(codes.CONDITIONS, "met") | outcomes
    return verdicts(pl.DataFrame([row])).row(0, named=True)


PARTS, LABOR = "within_parts_window", "within_labor_window"


@pytest.mark.parametrize(
    ("outcomes", "expected", "lead"),
    [
        ({}, "covered", None),
        ({PARTS: "unmet"}, "covered_in_part", PARTS),
        ({LABOR: "unmet"}, "covered_in_part", LABOR),
        ({PARTS: "unmet", LABOR: "unmet"}, "not_covered", PARTS),
        ({PARTS: "unknown"}, "needs_evidence", PARTS),
        ({PARTS: "unknown", LABOR: "unmet"}, "needs_evidence", PARTS),
        ({PARTS: "unmet", LABOR: "unknown"}, "needs_evidence", LABOR),
        ({"filed_in_time": "unmet"}, "not_covered", "filed_in_time"),
        ({"filed_in_time": "unknown"}, "needs_evidence", "filed_in_time"),
        ({"filed_in_time": "unmet", "water_tested": "unknown"}, "not_covered", "filed_in_time"),
        ({"filed_in_time": "unknown", "delimed": "unmet"}, "not_covered", "delimed"),
        ({"water_tested": "unknown", LABOR: "unmet"}, "needs_evidence", "water_tested"),
        ({"delimed": "unknown", "agency_authorized": "unknown"}, "needs_evidence",
         "agency_authorized"),
        ({"startup_completed": "unmet", PARTS: "unmet", LABOR: "unmet"}, "not_covered",
         "startup_completed"),
        ({"startup_completed": "unmet", LABOR: "unmet"}, "covered_in_part", LABOR),
        ({"startup_completed": "unmet"}, "covered", None),
        ({"startup_completed": "unknown"}, "covered", None),
        ({"delimed": "disputed", "filed_in_time": "unmet"}, "needs_review", "delimed"),
        ({"startup_completed": "disputed"}, "needs_review", "startup_completed"),
        ({"records_agree": "disputed", "earlier_repair_held": "disputed"}, "needs_review",
         "records_agree"),
        (dict.fromkeys(codes.CONDITIONS, "not_needed"), "covered", None),
        ({PARTS: "not_evaluated", LABOR: "not_evaluated"}, "covered", None),
        ({PARTS: "not_needed", LABOR: "unmet"}, "covered_in_part", LABOR),
    ],
)  # fmt: skip
def test_unmet_goes_before_unknown_and_a_dispute_before_both(outcomes, expected, lead):
    """AND over the common conditions and each window; what does not bear changes nothing."""
    row = verdict(**outcomes)
    assert (row["verdict"], row["lead_reason"]) == (expected, lead)


@pytest.mark.parametrize(
    ("outcomes", "expected"),
    [
        ({"records_agree": "disputed"}, "covered"),
        ({"records_agree": "disputed", "earlier_repair_held": "disputed"}, "covered"),
        ({"records_agree": "disputed", "delimed": "unmet"}, "not_covered"),
        ({"treatment_maintained": "disputed", LABOR: "unmet"}, "covered_in_part"),
        ({"treatment_maintained": "disputed", "cause_established": "unknown"}, "needs_evidence"),
        ({PARTS: "disputed", LABOR: "unmet"}, "covered_in_part"),
    ],
)
def test_a_settled_dispute_counts_as_met(outcomes, expected):
    """The verdict were all that is disputed met; everything else counts as before."""
    row = {"claim": "K1"} | dict.fromkeys(codes.CONDITIONS, "met") | outcomes
    frame = pl.DataFrame([row])
    assert verdicts(frame)["verdict"].item() == "needs_review"
    assert verdicts_if_settled(frame)["verdict"].item() == expected


def test_what_a_settled_dispute_would_pay(tools, bench):
    """The lines of the windows that are met; nothing where it would not be covered."""
    disputed = {"claimed_on": "2024-08-31"}  # before the failure
    row = tools.decision(bench.decide(call=disputed))
    assert (row["if_settled"], row["payable_if_settled"]) == ("covered", Decimal("430.00"))
    terms = tools.changed(labor_months="2", bonus_labor_months="0")
    row = tools.decision(bench.decide(call=disputed, terms=terms))
    assert (row["if_settled"], str(row["payable_if_settled"])) == ("covered_in_part", "200.00")
    row = tools.decision(bench.decide(call=disputed | {"cause": "DROPPED"}))
    assert (row["if_settled"], str(row["payable_if_settled"])) == ("not_covered", "0.00")
    decided = bench.decide()
    assert decided.decisions.schema == polars_schema(Decisions)
    row = tools.decision(decided)
    assert (row["if_settled"], row["payable_if_settled"]) == (None, None)


def money(row, kind):
    """Parts, labor and travel of one kind, as text."""
    return [str(row[f"{line}_{kind}"]) for line in ("parts", "labor", "travel")]


def test_amounts_are_capped_and_rounded_half_away_from_zero(tools, bench):
    """Exact decimals; a missing amount is 0 and a cap that is not on file does not bind."""
    rows = [
        ({}, ["200.00", "180.00", "75.00"], ["200.00", "170.00", "60.00"]),
        ({"labor_rate": "80", "travel_amount": "59.99"}, ["200.00", "160.00", "59.99"],
         ["200.00", "160.00", "59.99"]),
        ({"cause": "BURNER", "labor_hours": "1.25"}, ["200.00", "112.50", "75.00"],
         ["200.00", "106.25", "60.00"]),
        ({"cause": "BURNER"}, ["200.00", "180.00", "75.00"], ["200.00", "127.50", "60.00"]),
        ({"parts_amount": None, "labor_hours": None, "travel_amount": None},
         ["0.00", "0.00", "0.00"], ["0.00", "0.00", "0.00"]),
        ({"labor_rate": None}, ["200.00", "0.00", "75.00"], ["200.00", "0.00", "60.00"]),
        ({"parts_amount": "0.005", "labor_hours": "0.0001", "labor_rate": "50",
          "travel_amount": "0.004999"}, ["0.01", "0.01", "0.00"], ["0.01", "0.01", "0.00"]),
        ({"parts_amount": "2.675", "labor_hours": "0.3333333333", "labor_rate": "1.05"},
         ["2.68", "0.35", "75.00"], ["2.68", "0.35", "60.00"]),
        ({"labor_hours": "1.1", "labor_rate": "0.05"}, ["200.00", "0.06", "75.00"],
         ["200.00", "0.06", "60.00"]),
        ({"agency": "EAST", "completed_on": "2025-02-01", "claimed_on": "2025-02-02"},
         ["200.00", "180.00", "75.00"], ["200.00", "180.00", "75.00"]),
    ]  # fmt: skip

    def make(call, claimed, payable):
        return bench.decide(call=call)

    for (_call, claimed, payable), decided in zip(rows, [make(*row) for row in rows], strict=True):
        row = tools.decision(decided)
        assert row["verdict"] == "covered"
        assert money(row, "claimed") == claimed
        assert money(row, "payable") == payable == money(row, "standing")


def test_a_window_pays_its_own_lines_only(tools, bench):
    """Labor past its window takes travel with it; parts are paid."""
    day = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-01-20")
    row = tools.decision(bench.decide(call=day))
    assert row["verdict"] == "covered_in_part"
    assert money(row, "payable") == ["200.00", "0.00", "0.00"]
    terms = tools.changed(parts_months="6", bonus_parts_months="0")
    row = tools.decision(bench.decide(terms=terms))
    assert (row["verdict"], row["lead_reason"]) == ("covered_in_part", PARTS)
    assert money(row, "payable") == ["0.00", "170.00", "60.00"]


@pytest.mark.parametrize(
    "call", [{"cause": "DROPPED"}, {"agency": None}, {"claimed_on": "2024-08-31"}]
)
def test_nothing_is_payable_unless_covered(tools, bench, call):
    """Not covered, lacking evidence or under review: nothing yet."""
    assert money(tools.decision(bench.decide(call=call)), "payable") == ["0.00"] * 3


RULING = {"claim": "K1", "ruled_by": "a.b", "reason": "seen", "ruled_at": "2024-10-01T10:00:00"}


def test_a_ruling_stands_line_by_line(tools, bench):
    """Its own amounts first; else what covered pays, what is payable, or nothing."""
    rows = [
        ({}, {"ruling": "covered"}, ["200.00", "170.00", "60.00"]),
        ({}, {"ruling": "not_covered"}, ["0.00", "0.00", "0.00"]),
        ({}, {"ruling": "covered_in_part"}, ["200.00", "170.00", "60.00"]),
        ({"cause": "DROPPED"}, {"ruling": "covered"}, ["200.00", "170.00", "60.00"]),
        ({"cause": "DROPPED"}, {"ruling": "covered_in_part"}, ["0.00", "0.00", "0.00"]),
        ({"cause": "DROPPED"}, {"ruling": "covered_in_part", "labor_amount": "12.345"},
         ["0.00", "12.35", "0.00"]),
        ({}, {"ruling": "not_covered", "parts_amount": "50"}, ["50.00", "0.00", "0.00"]),
        ({}, {"ruling": "covered", "parts_amount": "0"}, ["0.00", "170.00", "60.00"]),
        ({"serial": "NONE"}, {"ruling": "covered"}, ["200.00", "170.00", "60.00"]),
        ({"cause": "BURNER", "claimed_on": None}, {"ruling": "covered"},
         ["200.00", "127.50", "60.00"]),
    ]  # fmt: skip

    def make(call, ruling, standing):
        return bench.decide(call=call, rulings=[RULING | ruling])

    for (_call, ruling, standing), decided in zip(rows, [make(*row) for row in rows], strict=True):
        row = tools.decision(decided)
        assert (row["ruling"], row["standing"]) == (ruling["ruling"], ruling["ruling"])
        assert money(row, "standing") == standing


def test_the_latest_ruling_by_the_minute_stands(tools, bench):
    """Whatever the order of the rows; one after the as-of date is not seen."""
    rulings = [
        RULING | {"ruling": "covered", "ruled_at": "2024-10-01T10:00:01"},
        RULING | {"ruling": "not_covered"},
        RULING | {"ruling": "covered_in_part", "ruled_at": "2024-10-02T00:00:00"},
    ]
    for order in (rulings, rulings[::-1]):
        row = tools.decision(bench.decide(as_of="2024-10-01", rulings=order))
        assert row["standing"] == "covered"
    row = tools.decision(bench.decide(as_of="2024-10-02", rulings=rulings))
    assert row["standing"] == "covered_in_part"


def test_the_computed_verdict_stays_beside_the_ruling(tools, bench):
    """A ruling changes what stands, never what was computed."""
    row = tools.decision(bench.decide(rulings=[RULING | {"ruling": "not_covered"}]))
    assert (row["verdict"], row["standing"]) == ("covered", "not_covered")
    assert money(row, "payable") == ["200.00", "170.00", "60.00"]


def test_an_absurd_amount_stops_at_what_the_column_holds(tools, bench):
    """One mistyped row must not stop the refresh."""
    call = {"labor_hours": "99999999", "labor_rate": "999999999999", "agency": "EAST"}
    call |= {"completed_on": "2025-02-01", "claimed_on": "2025-02-01"}
    row = tools.decision(bench.decide(call=call))
    assert row["labor_claimed"] == row["labor_payable"] == Decimal("9999999999999999.99")
    assert row["parts_payable"] == Decimal("200.00")


def test_large_exact_amounts_do_not_lose_a_cent(tools, bench):
    """Products that a float would bend stay exact."""
    call = {"labor_hours": "99999.9999999999", "labor_rate": "84.999999"}
    row = tools.decision(bench.decide(call=call))
    exact = Decimal("99999.9999999999") * Decimal("84.999999")
    assert row["labor_claimed"] == exact.quantize(Decimal("0.01"))
