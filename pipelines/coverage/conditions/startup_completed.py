"""A start-up was completed by the failure date."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import WINDOW
from pipelines.coverage.conditions.startup_requested_in_time import NOT_BETWEEN
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.startups import STARTUP_OUTCOMES

CLAUSE = Clause(
    9,
    terms=(
        "startup.bonus_parts_months",
        "startup.bonus_labor_months",
    ),
)
FACTS = (STARTUP_OUTCOMES,)

DOCUMENT = "start-up report with its completion date"

HELP = ConditionHelp(
    looks_at=(
        "the unit's start-up reports, where the failure lies between the base and the extended end"
        " of a window"
    ),
    outcomes={
        "met": "the start-up was completed by the failure date",
        "unmet": (
            "it was completed later; or there is no report, and the start-ups on file reach the "
            "failure date"
        ),
        "unknown": "there is none, and the start-ups on file do not reach the failure date",
        "not_needed": "the failure lies between the two ends of neither window",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "failure came before the warranty started"
        ),
    },
    reads=(
        "coverage.parts_months",
        "coverage.labor_months",
        "startup.bonus_parts_months",
        "startup.bonus_labor_months",
        *CLOCK_KEYS,
    ),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from `completed`, the outcome wherever the start-up bears on the claim."""
    completed, failure = pl.col("completed"), pl.col("failure_words")
    cases = [
        *WINDOW,
        NOT_BETWEEN,
        Case(
            completed == "met",
            "met",
            pl.format(
                "The start-up was completed on {}, no later than {}.",
                "startup_completed_on",
                failure,
            ),
        ),
        Case(
            pl.col("startup_completed_on").is_not_null(),
            "unmet",
            pl.format(
                "The start-up was completed on {}, after {}.", "startup_completed_on", failure
            ),
        ),
        # 9: without any report silence counts from the day that the feed reaches d.
        Case(
            completed == "unmet",
            "unmet",
            pl.format("No completed start-up is on file, and the reports reach past {}.", failure),
        ),
        Case(
            ALWAYS,
            "unknown",
            pl.format("No completed start-up is on file; the reports do not reach {}.", failure),
            DOCUMENT,
        ),
    ]
    return judged(claims, cases, ["startup_sources"])
