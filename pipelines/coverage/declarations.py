"""What a condition declares of itself: the clause that it carries and the facts that it needs.

Belongs here: the shape of those declarations. Does not belong here: any condition, and what order
they come in (`judging`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.terms import Terms


@dataclass(frozen=True)
class Clause:
    """Where a condition stands in the contract, and what it reads there.

    `paragraph` is its number in decisions.md. It rests on `terms`, the keys of a terms file that
    it reads, or, where it reads none, on `records` (in words).
    """

    paragraph: int
    terms: tuple[str, ...] = ()
    records: str | None = None


@dataclass(frozen=True)
class Fact:
    """Columns about claims that conditions need: worked out once, before the first that does.

    `add` takes claims, evidence and terms; it returns the claims in their order with `columns`.
    """

    columns: tuple[str, ...]
    add: Callable[[pl.DataFrame, Evidence, Terms], pl.DataFrame]


class Condition(Protocol):
    """A module of `conditions`."""

    CLAUSE: Clause
    FACTS: tuple[Fact, ...]

    def judge(self, claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
        """One finding a claim, in the order of the claims: claim, outcome, reason, evidence,
        document."""
        ...
