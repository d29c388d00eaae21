"""What holds for every workspace: order of rows, closed words, verdicts from findings, twins."""

import random
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.coverage import decide
from pipelines.coverage.duplicates import same_failure
from schemas import codes
from schemas.decisions import Decisions, Findings

FIRST = date(2024, 1, 1)


def some_day(chance, empty=0.15, span=700):
    """A day of two years, or nothing."""
    if chance.random() < empty:
        return None
    return str(FIRST + timedelta(days=chance.randrange(span)))


def some_records(chance):
    """Rows of all feeds with few serials and sites, so that they meet often."""
    pick = chance.choice
    serials, sites = [f"U{n}" for n in range(6)], ["S1", "S2", None]
    units = [
        {"serial": serial, "model": pick(["GEN", "ALW", "BOIL", "HAND"]), "site": pick(sites),
         "shipped_on": some_day(chance, 0, 200), "purchased_on": some_day(chance, span=250),
         "installed_on": some_day(chance, span=300), "retired_on": some_day(chance, 0.8)}
        for serial in serials[:5]
    ]  # fmt: skip
    startups = [
        {"report": f"R{n}", "serial": pick(serials), "requested_on": some_day(chance, span=300),
         "completed_on": some_day(chance, span=400), "gas": pick(["natural", "propane", None]),
         "gas_pressure_in_wc": pick(["3", "9", "12", None]), "level": pick(["yes", "no", None]),
         "treatment_product": pick(["SOFT", "RO", None]),
         "treatment_installed_on": some_day(chance, 0.5)}
        for n in range(6)
    ]  # fmt: skip
    tests = [
        {"sample": f"L{n}", "site": pick(sites), "serial": pick([None, *serials]),
         "point": pick(["supply", "supply", "treated"]), "sampled_on": some_day(chance, 0),
         "reported_on": some_day(chance, 0.3), "ph": pick(["6", "7", "9", None]),
         "hardness_mg_l_caco3": pick(["50", "100", "150", "250", "<120", None]),
         "chloride_mg_l": pick(["20", "60", "<55", None]),
         "total_chlorine_mg_l": pick(["0.4", "<0.05", None]), "free_chlorine_mg_l": "0.3"}
        for n in range(12)
    ]  # fmt: skip
    purchases = [
        {"order": f"P{n}", "line": "1", "ordered_on": some_day(chance, 0), "site": pick(sites),
         "serial": pick([None, None, *serials]), "quantity": str(chance.randrange(1, 4)),
         "product": pick(["SOFT", "SOFT", "SOFT-C", "ALL", "RO", "RO-C", "CHL"]),
         "condition": pick(["new", "new", "new", "used"]), "seller": pick(["MAKER", "OTHER"])}
        for n in range(20)
    ]  # fmt: skip
    calls = [
        {"call": f"C{n}", "serial": pick(serials), "kind": pick(["repair", *codes.KINDS]),
         "claim": f"K{n}", "opened_on": some_day(chance, 0), "failed_on": some_day(chance),
         "completed_on": some_day(chance), "claimed_on": some_day(chance),
         "agency": pick(["NORTH", "EAST", "WEST", None]), "performed_by": pick(["owner",
         "technician", None]), "product": pick(["SOFT", "SOFT", "RO", "ALL", None]),
         "cause": pick(["SCALED", "SCALED", "CORRODED", "PITTED", "BOARD", "BURNER", "DROPPED",
                        None]), "parts_amount": "10.005", "labor_hours": pick(["2", None]),
         "labor_rate": "90", "travel_amount": pick(["75", None])}
        for n in range(60)
    ]  # fmt: skip
    for call in calls:
        if call["kind"] != "repair" or chance.random() < 0.2:
            call["claim"] = None
    rulings = [
        {"claim": f"K{chance.randrange(60)}", "ruled_at": f"{some_day(chance, 0)}T10:00:{n:02}",
         "ruled_by": "x", "ruling": pick(list(codes.RULINGS)), "reason": "y",
         "labor_amount": pick(["12.345", None])}
        for n in range(8)
    ]  # fmt: skip
    return {
        "units": units,
        "startups": startups,
        "water_tests": tests,
        "treatment_purchases": purchases,
        "service_calls": calls,
        "rulings": rulings,
    }


@pytest.fixture(scope="module")
def some_evidence(tools):
    """Evidence from a seed, as of a day on which some of it is not seen yet."""

    def make(seed):
        chance = random.Random(seed)
        days = [None, date(2025, 1, 1), date(2025, 12, 1)]
        through = {feed: chance.choice(days) for feed in codes.FEEDS}
        return tools.evidence_of(as_of="2025-09-30", through=through, **some_records(chance))

    return make


SEEDS = st.integers(0, 10_000)


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_the_order_of_rows_never_matters(tools, bench, some_evidence, seed):
    """Every feed and reference file shuffled: the same tables to the byte."""
    evidence = some_evidence(seed)
    terms = bench.terms(tools.changed(look_back_months="9", judged_by='"cause"'))
    frames = (*codes.FEEDS, *codes.REFERENCES)
    shuffled = replace(
        evidence,
        **{
            name: getattr(evidence, name).sample(fraction=1, shuffle=True, seed=seed)
            for name in frames
        },
    )
    one, two = decide(evidence, terms), decide(shuffled, terms)
    assert one.decisions.equals(two.decisions)
    assert one.findings.equals(two.findings)


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_findings_are_whole_and_the_verdict_is_theirs(tools, bench, some_evidence, seed):
    """Twenty findings a claim in closed words; the verdict follows from them by a plain reading."""
    evidence = some_evidence(seed)
    decided = decide(evidence, bench.terms(tools.BENCH_TERMS))
    Decisions.validate(decided.decisions, lazy=True)
    Findings.validate(decided.findings, lazy=True)
    assert decided.findings.height == 20 * decided.decisions.height
    named = pl.col("document").is_not_null()
    assert decided.findings.filter(named != (pl.col("outcome") == "unknown")).is_empty()
    for row in decided.decisions.iter_rows(named=True):
        found = decided.findings.filter(claim=row["claim"])
        outcomes = dict(found.select("condition", "outcome").iter_rows())
        assert (row["verdict"], row["lead_reason"]) == plain_verdict(outcomes)


def plain_verdict(outcomes):
    """The verdict and lead reason of one claim, read off the rules."""
    names = list(codes.CONDITIONS)
    common = [outcomes[name] for name in names[:7] + names[11:]]

    def together(window):
        values = [*common, outcomes[window]]
        return next((word for word in ("unmet", "unknown") if word in values), "met")

    def first(word):
        return next(name for name in names if outcomes[name] == word)

    if "disputed" in outcomes.values():
        return "needs_review", first("disputed")
    parts, labor = together("within_parts_window"), together("within_labor_window")
    if parts == labor == "unmet":
        return "not_covered", first("unmet")
    if parts == labor == "met":
        return "covered", None
    if {parts, labor} == {"met", "unmet"}:
        return "covered_in_part", (
            "within_parts_window" if parts == "unmet" else "within_labor_window"
        )
    return "needs_evidence", first("unknown")


CLAIMS = st.lists(
    st.tuples(
        st.sampled_from(["U1", "U2"]),
        st.sampled_from(["A", "B", None]),
        st.dates(date(2024, 1, 1), date(2024, 1, 12)),
        st.none() | st.dates(date(2024, 2, 1), date(2024, 2, 3)),
    ),
    max_size=9,
)


@given(CLAIMS, st.integers(0, 4))
@settings(deadline=None)
def test_twins_are_those_of_a_plain_comparison_of_all_pairs(claims, days):
    """Both ways round, with the earlier of the two told."""
    table = pl.DataFrame(
        [(f"K{n}", *claim, days) for n, claim in enumerate(claims)],
        schema={
            "claim": pl.String,
            "serial": pl.String,
            "cause": pl.String,
            "failed_on": pl.Date,
            "claimed_on": pl.Date,
            "duplicate_within_days": pl.Int64,
        },
        orient="row",
    )

    def rank(row):
        return (row[4] is None, row[4] or date.min, row[0])

    expected = sorted(
        (one[0], two[0], rank(two) < rank(one))
        for one in table.iter_rows()
        for two in table.iter_rows()
        if one[0] != two[0]
        and one[1:3] == two[1:3]
        and one[2] is not None
        and abs((one[3] - two[3]).days) <= days
    )
    assert same_failure(table).rows() == expected
