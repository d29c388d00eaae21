"""A start-up was asked for soon enough after the purchase, or before it; the last day counts.

A report without a request date counts with its completion, since nobody completes what was not
asked for; where that is too late, the request date may still settle it.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import days_words
from pipelines.coverage.conditions.gates import WINDOW
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.startups import STARTUP_OUTCOMES

CLAUSE = Clause(8, terms=("startup.request_within_days",))
FACTS = (STARTUP_OUTCOMES,)

DOCUMENT = "request date of the start-up"
NOT_BETWEEN = Case(
    ~pl.col("bonus_matters"), "not_needed", "No window of cover hangs on the start-up bonus."
)

HELP = ConditionHelp(
    looks_at=(
        "the unit's start-up reports and its purchase date, where the failure lies between the "
        "base and the extended end of a window"
    ),
    outcomes={
        "met": "the start-up was requested in time",
        "unmet": (
            "it was requested later; or there is no report, and the start-ups on file reach past "
            "the last day"
        ),
        "unknown": (
            "a report lacks its request date, or the start-ups on file do not reach far enough"
        ),
        "not_needed": "the failure lies between the two ends of neither window",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "failure came before the warranty started"
        ),
    },
    reads=(
        "startup.request_within_days",
        "coverage.parts_months",
        "coverage.labor_months",
        "startup.bonus_parts_months",
        "startup.bonus_labor_months",
        *CLOCK_KEYS,
    ),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from `requested`, the outcome wherever the start-up bears on the claim."""
    due = pl.format(
        "{}, {} after {}",
        "request_due_on",
        days_words("request_within_days"),
        pl.when(pl.col("purchased_on").is_not_null())
        .then(pl.lit("the purchase"))
        .otherwise(pl.lit("the warranty's start (no purchase date is known)")),
    )
    requested = pl.col("requested")
    cases = [
        *WINDOW,
        NOT_BETWEEN,
        Case(
            requested == "met",
            "met",
            pl.format(
                "A start-up was asked for no later than {}; that was due by {}.",
                "startup_requested_on",
                due,
            ),
        ),
        Case(
            pl.col("startup_request_missing") & (requested == "unknown"),
            "unknown",
            pl.format("A start-up report lacks its request date; the request was due by {}.", due),
            DOCUMENT,
        ),
        Case(
            pl.col("startup_requested_on").is_not_null(),
            "unmet",
            pl.format(
                "The first start-up was asked for on {}; that was due by {}.",
                "startup_requested_on",
                due,
            ),
        ),
        Case(
            requested == "unmet",
            "unmet",
            pl.format("No start-up report is on file; a request was due by {}.", due),
        ),
        Case(
            ALWAYS,
            "unknown",
            pl.format("No start-up report is on file, and the reports do not yet reach {}.", due),
            DOCUMENT,
        ),
    ]
    return judged(claims, cases, ["unit_source", "startup_sources"])
