"""One claim in the search: sets of facts tried, those that turn its verdict, and those kept.

Belongs here: one claim's state in the search, and the choice among the sets that turn it. Does not
belong here: deciding (`hypotheses`) and which sets are tried next (`search`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

MOST_FACTS = 8
Facts = frozenset[int]


@dataclass(frozen=True)
class Turn:
    """One set of facts with which a claim would have `verdict`."""

    verdict: str
    facts: tuple[dict[str, Any], ...]

    @property
    def possible(self) -> bool:
        """Whether it still can be: no fact of it contradicts what is on record."""
        return all(fact["standing"] != "past" for fact in self.facts)


@dataclass(frozen=True)
class Counterfactuals:
    """What would turn one claim: the smallest sets, those that still can be first; or, where there
    is none, the conditions (with reasons) that no candidate settles. `tried` are all facts
    that were put in."""

    verdict: str
    turns: tuple[Turn, ...]
    closed: tuple[tuple[str, str], ...]
    tried: tuple[dict[str, Any], ...]

    @classmethod
    def covered(cls) -> Counterfactuals:
        """A covered claim needs none."""
        return cls("covered", (), (), ())


@dataclass
class Search:
    """One claim on its way: its facts by number, sets tried and what came of them."""

    claim: str
    verdict: str
    facts: list[dict[str, Any]] = field(default_factory=list)
    numbers: dict[tuple[Any, ...], int] = field(default_factory=dict)
    tried: set[Facts] = field(default_factory=set)
    turning: dict[str, list[Facts]] = field(default_factory=dict)
    closed: dict[str, str] = field(default_factory=dict)
    closed_after: int = MOST_FACTS

    def number(self, fact: Mapping[str, Any]) -> int:
        """The fact's number; the same fact found on another way has the same."""
        key = (
            fact["kind"],
            fact["standing"],
            fact["day"],
            fact["text"],
            tuple(fact["items"] or ()),
        )
        if key not in self.numbers:
            self.numbers[key] = len(self.facts)
            self.facts.append(dict(fact))
        return self.numbers[key]

    def past(self, facts: Facts) -> int:
        """How many facts of a set contradict the records."""
        return sum(self.facts[number]["standing"] == "past" for number in facts)

    def close(self, reasons: dict[str, str], after: int) -> None:
        """Remembers what nothing settles, as it shows with the fewest facts."""
        if after < self.closed_after:
            self.closed, self.closed_after = reasons, after

    def best(self, verdict: str, *, possible: bool) -> int:
        """The size of the smallest set found so far that gives the verdict."""
        sizes = [len(s) for s in self.turning.get(verdict, ()) if not (possible and self.past(s))]
        return min(sizes, default=MOST_FACTS)


def kept(search: Search) -> Counterfactuals:
    """The smallest sets that still can be; where none makes it covered, those that could have."""
    turns = _smallest(search, "covered", possible=True)
    if not turns:
        turns = _smallest(search, "covered_in_part", possible=True)
        turns += _smallest(search, "covered", possible=False)
    if not turns:
        turns = _smallest(search, "covered_in_part", possible=False)
    closed = () if turns else tuple(search.closed.items())
    return Counterfactuals(search.verdict, tuple(turns), closed, tuple(search.facts))


def _smallest(search: Search, verdict: str, *, possible: bool) -> list[Turn]:
    sets = [s for s in search.turning.get(verdict, ()) if bool(search.past(s)) != possible]
    if not sets or verdict == search.verdict:
        return []
    least = min((len(facts), search.past(facts)) for facts in sets)
    return [
        Turn(verdict, tuple(search.facts[number] for number in sorted(facts)))
        for facts in sorted(sets, key=sorted)
        if (len(facts), search.past(facts)) == least
    ]
