"""Every decision against a second reading of the rules, over seeded worlds full of boundaries.

Source of the expectations: the oracle beside this file, written from the contract's page on
decisions alone, in plain Python, one claim at a time.
"""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.coverage import decide
from tests.drawn import seeds_anew
from tests.properties.oracle.compare import differences
from tests.properties.oracle.csv_world import read_world
from tests.properties.oracle.frames import evidence_of, terms_of
from tests.properties.oracle.oracle import CONDITIONS, decide_world
from tests.properties.oracle.scenarios import make_world

WORLDS, CLAIMS, BATCH = 60, 50, 6
WORKED_CLAIMS = Path(__file__).parents[1] / "cases" / "worked_claims"
FRAMES = (
    "units",
    "startups",
    "water_tests",
    "treatment_purchases",
    "service_calls",
    "rulings",
    "models",
    "treatments",
    "causes",
    "agencies",
)

# What each condition can end as, beyond `not_needed`, which it does where it is switched off.
ALWAYS_EVALUATED = {"unit_on_register": ("met", "unknown")}
LATER = {
    "terms_in_force": ("met", "unknown"),
    "records_agree": ("met", "disputed"),
    "filed_in_time": ("met", "unmet", "unknown"),
    "agency_authorized": ("met", "unmet", "unknown"),
    "only_claim_for_failure": ("met", "disputed"),
    "earlier_repair_held": ("met", "disputed"),
    "startup_requested_in_time": ("met", "unmet", "unknown"),
    "startup_completed": ("met", "unmet", "unknown"),
    "within_parts_window": ("met", "unmet", "unknown"),
    "within_labor_window": ("met", "unmet", "unknown"),
    "cause_established": ("met", "unknown"),
    "cause_not_excluded": ("met", "unmet"),
    "installation_sound": ("met", "unmet"),
    "water_tested": ("met", "unknown"),
    "treatment_bought_new": ("met", "unmet", "unknown"),
    "treatment_suits_water": ("met", "unmet"),
    "treatment_installed": ("met", "unmet", "unknown"),
    "treatment_maintained": ("met", "unmet", "unknown", "disputed"),
    "delimed": ("met", "unmet", "unknown"),
}
PAIRS = [
    (condition, outcome)
    for condition, outcomes in (ALWAYS_EVALUATED | LATER).items()
    for outcome in (*outcomes, "not_needed", *(("not_evaluated",) if condition in LATER else ()))
]
# Turns of the rules that outcomes alone do not show.
TURNS = (
    "3: claimed before failure",
    "3: completed before opening",
    "3: failed after opening",
    "3: failed after retirement",
    "3: failed before the clock",
    "3: installed before shipment",
    "3: start-up before shipment",
    "7: a twin is not counted",
    "7: with a claim",
    "7: without a claim",
    "8: before purchase",
    "earned: met and unknown",
    "earned: met and unmet",
    "earned: unknown and unmet",
    "14: drain_air_gap_in",
    "14: flowing_pressure_psi",
    "14: gas_pressure_in_wc",
    "14: level",
    "14: no limit",
    "14: under_hood",
    "14: water_lines",
    "grace",
    "needs: always treat",
    "needs: none",
    "needs: none that the cause lists",
    "19: both ways",
    "19: by changes",
    "19: by stock",
    "19: forgiven",
    "19: no cartridge",
    "19: others enough",
    "19: fresh, others enough",
    "20: by owner",
    "20: by technician",
    "money: half a cent",
    "ruling: several",
    *(
        f"ruling: {ruling} on {verdict}"
        for ruling in ("covered", "covered_in_part", "not_covered")
        for verdict in (
            "covered",
            "covered_in_part",
            "not_covered",
            "needs_evidence",
            "needs_review",
        )
    ),
)


@cache
def answered(seed: int):
    """A world, and the decision on each of its claims as the oracle reads the rules."""
    world = make_world(seed, CLAIMS)
    return world, decide_world(world)


@pytest.mark.parametrize("first", [*range(0, WORLDS, BATCH), *seeds_anew("decisions", 2)])
def test_the_pipelines_decide_as_the_oracle_does(first):
    """Findings, verdict, windows, severity, money and what stands agree for every claim."""
    found = {}
    for seed in range(first, first + BATCH):
        world, expected = answered(seed)
        decided = decide(evidence_of(world), terms_of(world))
        if wrong := differences(decided, expected):
            found[seed] = wrong
    assert found == {}


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_no_feed_is_complete_beyond_the_as_of_date(seed):
    """A later day in a file's name does not make silence about a start-up count against a claim.

    The terms are bent so that labor hangs on the start-up from the first day, and its request has
    300 days' time, which for many units run past the as-of date.
    """
    world = make_world(seed, CLAIMS)
    for edition in world.editions:
        edition |= {"conditions_off": [], "family": {}}
        edition["clock"] = {"start": [], "days_after_shipment": 0}
        edition["coverage"]["labor_months"] = 0
        edition["startup"] |= {"request_within_days": 300, "bonus_labor_months": 12}
    later = {feed: world.as_of + timedelta(days=1000) for feed in world.through}
    world = replace(world, records=world.records | {"startups": []}, through=later)
    expected = decide_world(world)
    outcomes = [d.findings["startup_requested_in_time"] for d in expected.values()]
    assert {"unmet", "unknown"} <= set(outcomes)
    assert differences(decide(evidence_of(world), terms_of(world)), expected) == []


def test_the_worlds_reach_every_outcome_of_every_condition():
    """Over the same seeds, each outcome that the rules allow comes up at least three times."""
    seen: Counter = Counter()
    turns: Counter = Counter()
    for seed in range(WORLDS):
        for decision in answered(seed)[1].values():
            seen.update(decision.findings.items())
            seen.update([("verdict", decision.verdict), ("severity", decision.severity)])
            turns.update(decision.marks)
    verdicts = ("covered", "covered_in_part", "not_covered", "needs_evidence", "needs_review")
    others = [("verdict", verdict) for verdict in verdicts]
    others += [("severity", severity) for severity in ("mild", "normal", "severe", None)]
    assert [pair for pair in (*PAIRS, *others) if seen[pair] < 3] == []
    assert {pair for pair in seen if pair[0] in CONDITIONS} <= set(PAIRS)
    assert [turn for turn in TURNS if turns[turn] < 3] == []


def test_the_oracle_answers_the_worked_claims():
    """The oracle itself gives all outcomes of the worked claims that come with the contract."""
    as_of = date.fromisoformat((WORKED_CLAIMS / "expected" / "as_of.txt").read_text().strip())
    answers = decide_world(read_world(WORKED_CLAIMS / "workspace", as_of))
    expected = pl.read_csv(WORKED_CLAIMS / "expected" / "findings.csv", infer_schema=False)
    outcomes = {(row["claim"], row["condition"]): row["outcome"] for row in expected.to_dicts()}
    assert outcomes == {
        (claim, condition): outcome
        for claim, answer in answers.items()
        for condition, outcome in answer.findings.items()
    }
    for row in pl.read_csv(
        WORKED_CLAIMS / "expected" / "decisions.csv", infer_schema=False
    ).to_dicts():
        answer = answers[row["claim"]]
        money = {
            f"{line}_{kind}": str(amount)
            for kind, amounts in (("payable", answer.payable), ("standing", answer.standing_money))
            for line, amount in zip(("parts", "labor", "travel"), amounts, strict=True)
        }
        told = {
            name: money[name] if name in money else str(getattr(answer, name) or "") for name in row
        }
        assert told == {name: value or "" for name, value in row.items()}


@pytest.mark.parametrize("seed", range(4))
def test_decisions_do_not_depend_on_the_order_of_rows(seed):
    """With the rows of every frame shuffled, decisions, reasons and evidence stay the same."""
    world = make_world(seed, CLAIMS)
    evidence, terms = evidence_of(world), terms_of(world)
    shuffled = {
        name: getattr(evidence, name).sample(fraction=1, shuffle=True, seed=seed + place)
        for place, name in enumerate(FRAMES)
    }
    before = decide(evidence, terms)
    after = decide(type(evidence)(**{**vars(evidence), **shuffled}), terms)
    assert_frame_equal(before.decisions, after.decisions)
    assert_frame_equal(before.findings, after.findings)
