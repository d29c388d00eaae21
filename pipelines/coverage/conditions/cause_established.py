"""The call tells the cause of the failure, as a code that causes.csv lists."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(12, records="the list of causes")
FACTS: tuple[Fact, ...] = ()

DOCUMENT = "cause of the failure"

HELP = ConditionHelp(
    looks_at="the cause of the call, and the list of causes",
    outcomes={
        "met": "the call tells a cause that is on the list",
        "unknown": "it tells none, or one that is not on the list",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from cause and its words in causes.csv (null where it is not listed)."""
    cases = [
        *PAPER,
        Case(pl.col("cause").is_null(), "unknown", "The call tells no cause.", DOCUMENT),
        Case(
            pl.col("cause_class").is_null(),
            "unknown",
            pl.format("The call's cause, {}, is not in causes.csv.", "cause"),
            DOCUMENT,
        ),
        Case(ALWAYS, "met", pl.format("The cause is {} ({}).", "cause", "cause_words")),
    ]
    return judged(claims, cases)
