"""What is told to turn a verdict does, and nothing smaller among what was tried would.

Source of the expectations: deciding again, every subset of the facts that were tried, over seeded
worlds full of boundaries.
"""

from collections import Counter
from itertools import combinations

import polars as pl
import pytest

from pipelines.counterfactuals import sentences_of, what_would_turn
from pipelines.counterfactuals.candidate_facts import STANDINGS
from pipelines.counterfactuals.hypotheses import hypothetical_evidence
from pipelines.coverage import decide, seen
from tests.drawn import seeds_anew
from tests.properties.oracle.frames import evidence_of, terms_of
from tests.properties.oracle.scenarios import make_world

WORLDS, CLAIMS = 9, 70
GOOD = ("covered", "covered_in_part")
MOST_TRIED = 7  # facts of a claim, of which all subsets are decided


def subsets(facts):
    """All sets of facts that can be together, the empty one first."""
    for count in range(len(facts) + 1):
        for chosen in combinations(facts, count):
            told = {fact["kind"]: fact["standing"] for fact in chosen}
            # An installation is no more to be helped than the order that it needs.
            alike = told.get("order", told.get("installed")) == told.get("installed")
            if len(told) == count and (alike or "installed" not in told):
                yield chosen


def is_tried_whole(facts):
    """Whether a claim's facts are few, and none has another day on another way through them."""
    names = {(fact["kind"], fact["standing"]) for fact in facts}
    return len(names) == len(facts) <= MOST_TRIED


def past(facts):
    """How many of them contradict the records."""
    return sum(fact["standing"] == "past" for fact in facts)


def least(tried, verdict, *, possible):
    """Size and facts past help of the smallest sets that give a verdict; None without one."""
    found = [
        (len(facts), past(facts))
        for facts, got in tried
        if got == verdict and facts and (past(facts) == 0) == possible
    ]
    return min(found, default=None)


def expected(tried, now):
    """What must be told, as (verdict, size, facts past help): what still can be goes first."""
    whole, part = (
        {p: None if verdict == now else least(tried, verdict, possible=p) for p in (True, False)}
        for verdict in GOOD
    )
    if whole[True]:
        return {("covered", *whole[True])}
    told = set()
    if part[True]:
        told.add(("covered_in_part", *part[True]))
    if whole[False]:
        told.add(("covered", *whole[False]))
    if not told and part[False]:
        told.add(("covered_in_part", *part[False]))
    return told


def check_world(seed, counts):
    """Decides a world's claims with what is told and with every subset of what was tried."""
    world = make_world(seed, CLAIMS)
    evidence, terms = seen(evidence_of(world)), terms_of(world)
    decisions = decide(evidence, terms).decisions.filter(pl.col("verdict") != "covered")
    verdicts = dict(decisions.select("claim", "verdict").iter_rows())
    counterfactuals = what_would_turn(evidence, terms, decisions)
    # Without any fact a copy is decided as the claim is, whatever it shares with its site.
    assert {claim: told.verdict for claim, told in counterfactuals.items()} == verdicts
    sets = []
    for claim, told in counterfactuals.items():
        assert sentences_of(told)
        sets += [(claim, turn.facts, turn.verdict) for turn in told.turns]
        if is_tried_whole(told.tried):
            sets += [(claim, facts, None) for facts in subsets(told.tried)]
        counts.update(fact["kind"] for turn in told.turns for fact in turn.facts)
    hypothetical, states = hypothetical_evidence(
        evidence, terms, decisions, [(claim, facts) for claim, facts, _ in sets]
    )
    names = states["state"] + states["claim"]
    got = dict(decide(hypothetical, terms).decisions.select("claim", "verdict").iter_rows())
    tried = {}
    for name, (claim, facts, told) in zip(names, sets, strict=True):
        if told is None:
            tried.setdefault(claim, []).append((facts, got[name]))
        else:
            assert got[name] == told, (claim, facts)
    for claim, results in tried.items():
        turns = counterfactuals[claim].turns
        said = {(turn.verdict, len(turn.facts), past(turn.facts)) for turn in turns}
        assert said == expected(results, verdicts[claim]), (seed, claim, counterfactuals[claim])
        counts["claims tried whole"] += 1
        counts["claims that something turns"] += bool(turns)


@pytest.mark.parametrize("seed", [4200, *seeds_anew("turns", 2)])
def test_the_smallest_sets_of_another_world(seed):
    """What holds of the worlds below holds of any; of one whose day is before all its claims
    there is nothing to see, so that the next is taken."""
    counts = Counter()
    while not counts["claims tried whole"]:
        check_world(seed, counts)
        seed += 1
    assert counts["claims tried whole"] > 0


def test_the_smallest_sets_are_told_and_turn_the_verdict():
    """Told sets turn the claim, no smaller one does, and every kind of fact is told somewhere."""
    counts = Counter()
    for seed in range(WORLDS):
        check_world(4100 + seed, counts)
    assert counts["claims tried whole"] > 250
    assert counts["claims that something turns"] > 150
    kinds = {"serial", "failed_on", "completed_on", "claimed_on", "agency", "only_claim", "cause",
             "other_cause", "startup_requested", "startup_completed", "installed_on", "reading",
             "purchased_on", "retired_on", "startup_after_shipment", "water_test", "delimings",
             "missing_results", "order", "installed", "upkeep"}  # fmt: skip
    assert kinds <= set(counts), kinds - set(counts)
    assert STANDINGS == ("send", "correct", "past")
