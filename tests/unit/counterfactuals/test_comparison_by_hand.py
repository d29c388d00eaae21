"""Four claims worked by hand under the bench's terms and under others.

As it is: filed within 60 days, labor 12 months. Other terms: 30 days, labor 24 months.
Each claim: parts 200.00, labor 2 h at 85 (the agency's rate caps 90) = 170.00, travel 60.00.
"""

from dataclasses import replace
from decimal import Decimal

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.counterfactuals.comparison import _through, compare
from pipelines.counterfactuals.hypothetical_water_tests import _within
from pipelines.coverage import decide
from tests.unit.coverage import bench

LATE = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-03-01")
CALLS = [
    # Completed 3 September, filed on the 10th: covered either way.
    bench.CALL,
    # Filed 41 days after completion: in time by 60 days, late by 30.
    bench.CALL | {"call": "C2", "claim": "K2", "serial": "U2", "claimed_on": "2024-10-14"},
    # Failed in the 14th month: parts alone as it is, labor too under the others.
    bench.CALL | LATE | {"call": "C3", "claim": "K3", "serial": "U3"},
    # Excluded either way.
    bench.CALL | {"call": "C4", "claim": "K4", "serial": "U4", "cause": "DROPPED"},
]
UNITS = [bench.UNIT | {"serial": f"U{n}", "region": r} for n, r in enumerate(
    ("US-NM", "US-NM", "US-AZ", None), start=1)]  # fmt: skip


@pytest.fixture(scope="module")
def sides(tmp_path_factory):
    """What is decided under both, and the profiles of two units."""
    folder = tmp_path_factory.mktemp("terms")
    other = bench.changed(file_within_days="30", labor_months="24")
    sides = [bench.terms_of(folder / name, text) for name, text in
             (("as_it_is", bench.BENCH_TERMS), ("other", other))]  # fmt: skip
    evidence = bench.evidence_of(units=UNITS, service_calls=CALLS)
    profiles = pl.DataFrame({"serial": ["U1", "U2"], "water_profile": ["chloride", "mixed"]})
    return *(decide(evidence, terms) for terms in sides), profiles


@pytest.fixture(scope="module")
def told(sides):
    """The comparison of both."""
    return compare(*sides)


def money(*amounts):
    """Exact amounts."""
    return [Decimal(amount) for amount in amounts]


def test_what_moves_is_told_with_the_condition_that_differs_and_leads(told):
    """Filing for K2, the labor window for K3; the others stay."""
    columns = ("claim", "verdict_before", "verdict_after", "through", "payable_before",
               "payable_after")  # fmt: skip
    assert told.claims.select(columns).rows() == [
        ("K2", "covered", "not_covered", "filed_in_time", *money("430.00", "0.00")),
        ("K3", "covered_in_part", "covered", "within_labor_window", *money("200.00", "430.00")),
    ]
    assert told.claims["reason_after"][0].startswith("Filed on 2024-10-14, after 2024-10-03")


def test_claims_that_move_come_by_their_numbers(sides, told):
    """However they were decided."""
    before, after, profiles = sides
    turned = [
        replace(one, decisions=one.decisions.sort("claim", descending=True))
        for one in (before, after)
    ]
    assert_frame_equal(compare(*turned, profiles).claims, told.claims)


def test_money_is_exact_by_line_and_in_all(told):
    """K1 and K2 in full and K3's parts; then K1 and K3 in full."""
    columns = ("line", "payable_before", "payable_after", "standing_before", "standing_after")
    assert told.lines.select(columns).rows() == [
        ("parts", *money("600.00", "400.00", "600.00", "400.00")),
        ("labor", *money("340.00", "340.00", "340.00", "340.00")),
        ("travel", *money("120.00", "120.00", "120.00", "120.00")),
    ]
    assert told.lines["claimed"].to_list() == money("800.00", "720.00", "300.00")
    assert told.lines.schema["payable_after"] == pl.Decimal(18, 2)


def test_groups_add_up_to_the_whole_in_every_cut(told):
    """By family, region, profile and month of failure; what is not known has a group of its own."""
    for by in ("family", "region", "profile", "month"):
        rows = told.groups.filter(by=by)
        assert rows["claims"].sum() == 4
        assert rows["moved"].sum() == 2
        assert rows["change"].sum() == Decimal("-200.00")
    regions = told.groups.filter(by="region").select("group", "change").rows()
    assert regions == [
        ("US-AZ", Decimal("230.00")),
        ("US-NM", Decimal("-430.00")),
        ("unknown", Decimal("0.00")),
    ]
    months = told.groups.filter(by="month")["group"].to_list()
    assert months == ["2024-09", "2025-03"]


def test_verdicts_are_counted_on_both_sides(told):
    """Two covered either way, though not the same two."""
    assert told.verdicts.rows() == [
        ("covered", 2, 2),
        ("covered_in_part", 1, 0),
        ("not_covered", 1, 2),
    ]
    assert told.moves["claims"].to_list() == [1, 1]


def findings(*rows):
    """Findings of the claim K1 in their order: condition, outcome."""
    return pl.DataFrame(
        [("K1", place, *row, f"Is {row[1]}.") for place, row in enumerate(rows, start=1)],
        schema=["claim", "position", "condition", "outcome", "reason"],
        orient="row",
    )


@pytest.mark.parametrize(
    ("before", "after", "leads", "through"),
    [
        # One that bears on the claim on one side alone goes before one that never did.
        ([("a", "not_needed"), ("b", "met")], [("a", "met"), ("b", "unmet")], ("x", "y"), "b"),
        ([("a", "not_needed"), ("b", "unmet")], [("a", "met"), ("b", "met")], ("x", "y"), "b"),
        ([("a", "met"), ("b", "met")], [("a", "unmet"), ("b", "unmet")], ("x", "y"), "a"),
        ([("a", "not_needed"), ("b", "met")], [("a", "met"), ("b", "not_needed")], ("x", "y"), "a"),
        ([("a", "met"), ("b", "met")], [("a", "unmet"), ("b", "unmet")], ("x", "b"), "b"),
        ([("a", "unmet"), ("b", "unmet")], [("a", "met"), ("b", "met")], ("b", "x"), "b"),
        ([("a", "unmet"), ("b", "met")], [("a", "met"), ("b", "unmet")], ("a", "b"), "b"),
    ],
)
def test_a_claim_moves_through_the_finding_that_leads(before, after, leads, through):
    """That of the lead reason after, else before, else the first that bears, else the first."""
    both = pl.DataFrame(
        {"claim": ["K1"], "moved": [True], "lead_reason_before": [leads[0]],
         "lead_reason_after": [leads[1]]}
    )  # fmt: skip
    row = _through(both, findings(*before), findings(*after)).row(0, named=True)
    assert row["through"] == through
    assert row["outcome_before"] == dict(before)[through]
    assert row["outcome_after"] == dict(after)[through]
    assert row["reason_after"] == f"Is {row['outcome_after']}."


def test_water_within_its_limits_has_a_value_for_every_analyte(tmp_path):
    """The least where there is one, else nothing; pH is 7, or its maximum where that is lower."""
    for limit, value in (("{ min = 6.5, max = 9", 6.5), ("{ max = 9", 7.0), ("{ max = 6", 6.0)):
        text = bench.BENCH_TERMS.replace("limits.ph = { min = 6.5, max = 9", f"limits.ph = {limit}")
        terms = bench.terms_of(tmp_path / str(value), text)
        row = _within(terms).row(0, named=True)
        assert (row["ph"], row["hardness_mg_l_caco3"], row["total_chlorine_mg_l"]) == (value, 0, 0)
