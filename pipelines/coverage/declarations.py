"""What a condition declares of itself: the clause that it carries and the facts that it needs.

Belongs here: the shape of those declarations. Does not belong here: any condition, and what order
they come in (`judging`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
class ConditionHelp:
    """What people are told of a condition (`help/conditions.md`), beside what decides it.

    `looks_at` are the records that it reads, in words; `reads` all keys of a terms file on which
    its outcome rests; `outcomes` the outcomes that its cases can give, each with when, in words;
    `documents` those that could settle an unknown. That an edition switches a condition off, which
    makes any of them `not_needed`, is not among them.
    """

    looks_at: str
    outcomes: Mapping[str, str]
    reads: tuple[str, ...] = ()
    documents: tuple[str, ...] = ()


# Keys that many conditions read together: what starts a clock, and what water calls for.
CLOCK_KEYS = (
    "clock.start",
    "clock.days_after_shipment",
    "clock.latest_days_after_shipment",
    "clock.replacement",
)
NEED_KEYS = ("water.panel", "water.limits", "treatment.judged_by", "treatment.grace_days")


@dataclass(frozen=True)
class Fact:
    """Columns about claims that conditions need: worked out once, before the first that does.

    `add` takes claims, evidence and terms; it returns the claims in their order with `columns`.
    `needed_by` tells which claims need them; those of others may be null.
    """

    columns: tuple[str, ...]
    add: Callable[[pl.DataFrame, Evidence, Terms], pl.DataFrame]
    needed_by: Callable[[], pl.Expr] | None = None

    def added(self, claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
        """The claims with the columns; where none of them asks, without working them out."""
        kinds = _KINDS.get(self)
        if kinds and self.needed_by and not claims.select(self.needed_by().any()).item():
            return claims.with_columns(pl.lit(None, kind).alias(name) for name, kind in kinds)
        made = self.add(claims, evidence, terms)
        _KINDS[self] = [(name, made.schema[name]) for name in self.columns]
        return made


# What each fact's columns hold, known from the first time that they were worked out.
_KINDS: dict[Fact, list[tuple[str, pl.DataType]]] = {}


class Condition(Protocol):
    """A module of `conditions`."""

    CLAUSE: Clause
    HELP: ConditionHelp
    FACTS: tuple[Fact, ...]

    def judge(self, claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
        """One finding a claim, in the order of the claims: claim, outcome, reason, evidence,
        document."""
        ...
