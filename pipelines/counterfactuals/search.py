"""The smallest sets of facts that turn a verdict, by deciding again.

Belongs here: which hypotheses are tried, in rounds over all claims at once, and what is kept. Does
not belong here: which facts a condition calls for (`candidates`) and what they change
(`hypothetical_records`).

A set that turns a claim must hold, for every condition that stands in the way, one of the options
that this condition calls for. So each round joins one option a blocked condition, decides all
these sets at once, and goes on from those that bring new conditions to light; what settles several
conditions at once (`ALONE`) and what decides whether the rest is looked at (`GATES`) is tried by
itself first. Nothing smaller than what is kept can turn the claim with the candidate facts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import product
from typing import Any

import polars as pl

from pipelines.counterfactuals.candidate_facts import ALONE
from pipelines.counterfactuals.candidates import candidates
from pipelines.counterfactuals.candidates_of_dates import WINDOWS
from pipelines.counterfactuals.hypotheses import hypothetical_evidence, without_marks
from pipelines.counterfactuals.record_copies import marked
from pipelines.counterfactuals.turns import MOST_FACTS, Counterfactuals, Facts, Search, kept
from pipelines.coverage import Evidence, Judged, judge_claims
from pipelines.terms import Terms

GATES = ("unit_on_register", "terms_in_force", "records_agree")
_HALVES = ("startup_requested_in_time", "startup_completed")
MOST_HYPOTHESES = 150  # a claim
_ROUNDS = 10

Options = Mapping[str, Mapping[str, Facts]]  # condition -> option -> its facts


def what_would_turn(
    evidence: Evidence, terms: Terms, decisions: pl.DataFrame
) -> dict[str, Counterfactuals]:
    """What would turn each claim that is not covered to covered, or else to covered in part.

    Args:
        evidence: what is seen as of its as-of date; at least all records of the claims' units and
            their sites, and of the units that serials are corrected to.
        terms: all editions.
        decisions: claim, call, serial, serial_suggestion; what the table of decisions tells.

    Returns:
        By claim. `verdict` is the verdict as it is decided here, without any fact.
    """
    searches = {name: Search(name, "") for name in decisions["claim"]}
    frontier = [(search, frozenset[int]()) for search in searches.values()]
    for _ in range(_ROUNDS):
        if not frontier:
            break
        following = []
        for search, facts, verdict, options, reasons in _decided(
            frontier, decisions, evidence, terms
        ):
            search.verdict = search.verdict or verdict
            if verdict in ("covered", "covered_in_part") and facts:
                search.turning.setdefault(verdict, []).append(facts)
            if verdict == "covered":
                continue
            for grown in _grown(search, facts, options, reasons):
                if grown not in search.tried and len(search.tried) < MOST_HYPOTHESES:
                    search.tried.add(grown)
                    following.append((search, grown))
        frontier = following
    return {name: kept(search) for name, search in searches.items() if search.verdict}


def _decided(
    frontier: list[tuple[Search, Facts]], decisions: pl.DataFrame, evidence: Evidence, terms: Terms
) -> Iterator[tuple[Search, Facts, str, Options, dict[str, str]]]:
    """Every hypothesis with its verdict, the options of each condition in the way, and reasons."""
    sets = [(search.claim, [search.facts[n] for n in sorted(facts)]) for search, facts in frontier]
    hypothetical, states = hypothetical_evidence(evidence, terms, decisions, sets)
    marks = states["state"].to_list()
    judged = judge_claims(hypothetical, terms)
    own = states.select("state", suggestion="serial_suggestion", claim=marked("claim"))
    claims = judged.claims.join(own, on="claim")
    blocking = judged.blocking.join(own.select("claim"), on="claim", how="semi")
    judged = Judged(claims, blocking.with_columns(without_marks(pl.col("reason"))))
    verdicts = dict(claims.select("state", "verdict").iter_rows())
    facts_by_state = _by_state(candidates(judged, evidence, terms))
    blocked = judged.blocking.join(own, on="claim").select("state", "condition", "reason")
    reasons = _by_state(blocked)
    for mark, (search, facts) in zip(marks, frontier, strict=True):
        why = {row["condition"]: row["reason"] for row in reasons.get(mark, ())}
        gates = [name for name in GATES if name in why][:1]
        # The two halves of the bonus matter through the windows alone.
        to_settle = gates or [name for name in why if name not in _HALVES]
        options: dict[str, dict[str, set[int]]] = {name: {} for name in to_settle}
        for row in facts_by_state.get(mark, ()):
            if row["condition"] in options:
                option = options[row["condition"]].setdefault(row["option"], set())
                option.add(search.number(_following(row, search, facts)))
        frozen = {
            name: {option: frozenset(numbers) for option, numbers in by_option.items()}
            for name, by_option in options.items()
        }
        yield search, facts, verdicts[mark], frozen, why


def _following(fact: dict[str, Any], search: Search, facts: Facts) -> dict[str, Any]:
    """The fact; proof that a system was fitted can only come where its order can."""
    if fact["kind"] != "installed":
        return fact
    orders = (search.facts[n]["standing"] for n in facts if search.facts[n]["kind"] == "order")
    standing = next(orders, None)
    return fact if standing is None else fact | {"standing": standing, "reason": None}


def _by_state(rows: pl.DataFrame) -> dict[str, list[dict[str, Any]]]:
    grouped: dict[str, list[dict[str, Any]]] = {}
    for row in rows.iter_rows(named=True):
        grouped.setdefault(row["state"], []).append(row)
    return grouped


def _grown(
    search: Search, facts: Facts, options: Options, reasons: Mapping[str, str]
) -> Iterator[Facts]:
    """The sets to try next: those that could still be the smallest for a goal."""
    for goal, needed in _goals(search, options):
        for possible in (True, False):
            most = search.best(goal, possible=possible)
            open_ended = not possible and goal == "covered"
            for grown in _joined(search, facts, needed, options, possible, open_ended, reasons):
                if len(grown) <= most:
                    yield grown


def _goals(search: Search, options: Options) -> Iterator[tuple[str, list[str]]]:
    """What must be settled to be covered, and to be covered in part, by either window."""
    blocked = list(options)
    yield "covered", blocked
    if search.verdict != "covered_in_part":
        for window in WINDOWS:
            if window in blocked:
                yield "covered_in_part", [name for name in blocked if name != window]


def _joined(
    search: Search,
    facts: Facts,
    needed: list[str],
    options: Options,
    possible: bool,
    open_ended: bool,
    reasons: Mapping[str, str],
) -> Iterator[Facts]:
    usable = {
        name: [
            option
            for option in options[name].values()
            if not option <= facts and not (possible and search.past(option))
        ]
        for name in needed
    }
    shut = {name: reasons[name] for name, open_to in usable.items() if not open_to}
    if shut:
        if open_ended:
            search.close(shut, len(facts))
        return
    single = {
        name: [option for option in open_to if name in GATES or _is_alone(search, option, needed)]
        for name, open_to in usable.items()
    }
    for by_themselves in single.values():
        yield from _sound(search, (facts | option for option in by_themselves))
    together = [[o for o in open_to if o not in single[name]] for name, open_to in usable.items()]
    if all(together):
        yield from _sound(search, (facts.union(*chosen) for chosen in product(*together)))


def _is_alone(search: Search, option: Facts, needed: list[str]) -> bool:
    kinds = {search.facts[number]["kind"] for number in option} & set(ALONE)
    # When a claim was filed and who did the work matter elsewhere to other claims and repairs only.
    for kind, elsewhere in (
        ("claimed_on", "only_claim_for_failure"),
        ("agency", "earlier_repair_held"),
    ):
        if kinds == {kind}:
            return elsewhere in needed
    return bool(kinds)


def _sound(search: Search, sets: Iterable[Facts]) -> Iterator[Facts]:
    """Sets that can be: without two facts of one kind, or proof of an installation without that
    of the order."""
    for facts in sets:
        by_kind = {search.facts[n]["kind"]: search.facts[n]["standing"] for n in facts}
        proof = by_kind.get("installed")
        alike = proof is None or by_kind.get("order", proof) == proof
        if len(by_kind) == len(facts) <= MOST_FACTS and alike:
            yield facts
