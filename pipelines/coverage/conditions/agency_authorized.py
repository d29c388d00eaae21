"""The agency was authorized on the day the work was completed (the failure date where none is)."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(5, records="the list of authorized agencies")
FACTS: tuple[Fact, ...] = ()

DOCUMENT = "name of the service agency"

HELP = ConditionHelp(
    looks_at=(
        "the agency of the call, and the list of authorized agencies on the day of completion (of "
        "failure where there is none)"
    ),
    outcomes={
        "met": "it was authorized on that day",
        "unmet": "it is not on the list, or was not authorized on that day",
        "unknown": "the call names no agency",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from agency, agency_day and the period in force on it."""
    cases = [
        *PAPER,
        Case(pl.col("agency").is_null(), "unknown", "The call names no agency.", DOCUMENT),
        # 5: the row in force on completed_on, else on d, the last day included.
        Case(
            pl.col("agency_from").is_not_null(),
            "met",
            pl.format(
                "{} was authorized on {} (from {}{}).",
                "agency",
                "agency_day",
                "agency_from",
                pl.coalesce(pl.format(" to {}", "agency_until"), pl.lit(" on")),
            ),
        ),
        Case(
            pl.col("agency_listed"),
            "unmet",
            pl.format("{} was not authorized on {}.", "agency", "agency_day"),
        ),
        Case(ALWAYS, "unmet", pl.format("{} is not an authorized agency.", "agency")),
    ]
    return judged(claims, cases)
