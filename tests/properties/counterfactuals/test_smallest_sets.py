"""The search tells every smallest set of facts, whatever the rules are that decide.

Source of the expectations: all subsets of a few facts, each decided by itself. Deciding is put in
the search's way as a table of which facts settle which condition, so that thousands of claims are
searched in a second; that real claims turn as told is shown in `test_turns_hold`.
"""

from collections import Counter
from itertools import combinations, pairwise
from random import Random

import polars as pl

from pipelines.counterfactuals import search as room
from pipelines.counterfactuals.candidate_facts import ALONE
from tests.drawn import seed_of

CLAIMS = 1_500
WINDOWS = ("within_parts_window", "within_labor_window")
CONDITIONS = (
    "filed_in_time", "only_claim_for_failure", "earlier_repair_held", "cause_established",
    "water_tested", "treatment_bought_new", *WINDOWS,
)  # fmt: skip
GATE = "records_agree"
# What else a fact settles that was put in for another condition: what was filed when, and who did
# the work, matter to one other condition each; where the unit was bought, to any.
ELSEWHERE = {"claimed_on": ("only_claim_for_failure",), "agency": ("earlier_repair_held",)}
KINDS = ("claimed_on", "agency", "purchased_on", "order", "installed", "cause", "upkeep")


class Claim:
    """A claim by a table: facts by kind with their standing, and what settles each condition.

    options: condition -> sets of kinds, any of which settles it (none: nothing does).
    elsewhere: condition -> kinds that settle it too, without being asked for by it.
    after: condition -> one that must be settled before it shows.
    """

    def __init__(self, seed):
        random = Random(seed)
        kinds = random.sample(KINDS, random.randint(3, 6))
        self.facts = {kind: random.choice(("send", "send", "correct", "past")) for kind in kinds}
        names = random.sample(CONDITIONS, random.randint(1, 4))
        if random.random() < 0.2:
            names.append(GATE)
        self.options = {
            name: [
                frozenset(random.sample(kinds, random.choice((1, 1, 1, 2))))
                for _ in range(random.choice((0, 1, 1, 2, 2)) if random.random() < 0.3 else 2)
            ]
            for name in names
        }
        self.after = {
            name: before
            for before, name in pairwise(names)
            if GATE not in (name, before) and random.random() < 0.3
        }
        # Only what is asked for from the start can be found to settle more than it was put in for,
        # and what calls for nothing is settled by nothing.
        shown = [name for name in names if name not in self.after and GATE not in names]
        self.elsewhere = {
            name: {
                kind
                for kind in set(kinds) & set(ALONE)
                if self.options[name]
                and name in ELSEWHERE.get(kind, names)
                and any(frozenset({kind}) in self.options[one] for one in shown if one != name)
                and random.random() < 0.5
            }
            for name in names
        }

    def in_the_way(self, kinds):
        """The conditions that are in the way, and that show, with facts of these kinds."""
        open_ones = [
            name
            for name, options in self.options.items()
            if not any(option <= kinds for option in options) and not self.elsewhere[name] & kinds
        ]
        if GATE in open_ones:
            return [GATE]
        return [name for name in open_ones if self.after.get(name) not in open_ones]

    def verdict(self, kinds):
        """Covered, in part where one window alone is in the way, or not."""
        blocked = self.in_the_way(kinds)
        if not blocked:
            return "covered"
        if len(blocked) == 1 and blocked[0] in WINDOWS:
            # What waits behind the window shows no sooner than that is settled.
            return "covered_in_part" if blocked[0] not in self.after.values() else "not_covered"
        return "not_covered"

    def fact(self, kind):
        """A fact as the search numbers it."""
        return {"kind": kind, "standing": self.facts[kind], "day": None, "text": None, "items": ()}

    def sets(self):
        """All sets of kinds that can be: an installation is as possible as its order."""
        for count in range(1, len(self.facts) + 1):
            for kinds in map(frozenset, combinations(self.facts, count)):
                pair = {self.facts[kind] for kind in kinds & {"order", "installed"}}
                if len(pair) < 2:
                    yield kinds

    def least(self, verdict, *, possible):
        """All smallest sets with a verdict, those with the fewest facts past help."""
        by_rank = {}
        for kinds in self.sets():
            past = sum(self.facts[kind] == "past" for kind in kinds)
            if self.verdict(kinds) == verdict and (past == 0) == possible:
                by_rank.setdefault((len(kinds), past), set()).add((verdict, kinds))
        return by_rank[min(by_rank)] if by_rank else set()

    def expected(self):
        """What must be told: what still can be goes first, the whole before a part."""
        whole = {p: self.least("covered", possible=p) for p in (True, False)}
        part = {p: self.least("covered_in_part", possible=p) for p in (True, False)}
        if self.verdict(frozenset()) == "covered_in_part":
            part = {possible: set() for possible in part}
        return whole[True] or (part[True] | whole[False]) or part[False]


def decided_by(tables):
    """What the search asks in the place of the rules: every hypothesis by its claim's table."""

    def decided(frontier, *_):
        for search, facts in frontier:
            table = tables[search.claim]
            kinds = {search.facts[number]["kind"] for number in facts}
            blocked = table.in_the_way(kinds)
            options = {
                name: {
                    str(number): frozenset(search.number(table.fact(kind)) for kind in option)
                    for number, option in enumerate(table.options[name])
                }
                for name in blocked
            }
            reasons = {name: f"{name} is in the way" for name in blocked}
            yield search, facts, table.verdict(kinds), options, reasons

    return decided


def test_every_smallest_set_is_told_and_no_other(monkeypatch):
    """Of claims by random tables; and where nothing turns one, what nothing settles."""
    tables = {f"K{seed}": Claim(seed) for seed in range(seed_of(0), seed_of(0) + CLAIMS)}
    tables = {
        name: table for name, table in tables.items() if table.verdict(frozenset()) != "covered"
    }
    monkeypatch.setattr(room, "_decided", decided_by(tables))
    told = room.what_would_turn(None, None, pl.DataFrame({"claim": list(tables)}))
    assert told.keys() == tables.keys()
    counts = Counter()
    for name, table in tables.items():
        turns = {
            (turn.verdict, frozenset(fact["kind"] for fact in turn.facts))
            for turn in told[name].turns
        }
        assert turns == table.expected(), (name, vars(table))
        shut = {n for n in table.in_the_way(frozenset()) if not table.options[n]}
        if not turns and shut:
            assert {condition for condition, _ in told[name].closed} == shut, (name, vars(table))
            counts["closed"] += 1
        counts.update({turn.verdict for turn in told[name].turns})
        counts["past help"] += any(not turn.possible for turn in told[name].turns)
        counts["several"] += len(turns) > 1
    kinds = ("covered", "covered_in_part", "past help", "several", "closed")
    assert min(counts[kind] for kind in kinds) > 20, counts


def test_a_condition_that_its_own_fact_does_not_settle_is_told(monkeypatch):
    """The cause that is asked for is put in, and the condition still is in the way."""
    table = Claim(0)
    table.facts, table.after = {"cause": "send"}, {}
    table.options = {"cause_established": [frozenset({"cause"})]}
    table.in_the_way = lambda kinds: ["cause_established"]
    monkeypatch.setattr(room, "_decided", decided_by({"K": table}))
    (told,) = room.what_would_turn(None, None, pl.DataFrame({"claim": ["K"]})).values()
    assert (told.verdict, told.turns) == ("not_covered", ())
    assert told.closed == (("cause_established", "cause_established is in the way"),)
    assert [fact["kind"] for fact in told.tried] == ["cause"]
