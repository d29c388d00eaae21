"""The cause is not one that the warranty excludes."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import CAUSE
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(13, records="the list of causes")
FACTS: tuple[Fact, ...] = ()

HELP = ConditionHelp(
    looks_at="the cause, and whether the list of causes excludes it",
    outcomes={
        "met": "the warranty does not exclude it",
        "unmet": "it does",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established"
        ),
    },
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the cause's exclusion."""
    cases = [
        *CAUSE,
        Case(
            pl.col("excluded"),
            "unmet",
            pl.format("The warranty excludes {} ({}).", "cause", "cause_words"),
        ),
        Case(
            ALWAYS,
            "met",
            pl.format("{} ({}) is not excluded.", "cause", "cause_words"),
        ),
    ]
    return judged(claims, cases)
