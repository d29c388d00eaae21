"""The claim was filed soon enough after the repair was completed, the last day included."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, days_words
from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.terms import Terms


def _with_limit(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds file_by, the last day to file: the completion and the days allowed."""
    return claims.with_columns(file_by=add_days(pl.col("completed_on"), pl.col("file_within_days")))


FILING_LIMIT = Fact(("file_by",), _with_limit)
CLAUSE = Clause(4, terms=("claims.file_within_days",))
FACTS = (FILING_LIMIT,)

COMPLETION = "completion date of the repair"
FILING = "filing date of the claim"

HELP = ConditionHelp(
    looks_at="the completion and the filing date of the call",
    outcomes={
        "met": "it was filed within the days allowed after completion, the last one included",
        "unmet": "it was filed later",
        "unknown": "one of the two dates is missing",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    reads=("claims.file_within_days",),
    documents=(COMPLETION, FILING),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from claimed_on, completed_on and file_by."""
    limit = pl.format(
        "{}, the last of {} after completion on {}",
        "file_by",
        days_words("file_within_days"),
        "completed_on",
    )
    cases = [
        *PAPER,
        Case(
            pl.col("completed_on").is_null(),
            "unknown",
            "The repair has no completion date, so the filing limit is not known.",
            COMPLETION,
        ),
        Case(
            pl.col("claimed_on").is_null(),
            "unknown",
            pl.format("The claim has no filing date; it was due by {}.", limit),
            FILING,
        ),
        # 4: the last of the days allowed is still in time.
        Case(
            pl.col("claimed_on") <= pl.col("file_by"),
            "met",
            pl.format("Filed on {}, by {}.", "claimed_on", limit),
        ),
        Case(ALWAYS, "unmet", pl.format("Filed on {}, after {}.", "claimed_on", limit)),
    ]
    return judged(claims, cases)
