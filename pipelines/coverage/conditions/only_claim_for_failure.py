"""No earlier claim is for the same failure: same unit and cause, failure dates close together.

Of two such claims the one filed first stands; a claim without a filing date comes last.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import days_words
from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(6, terms=("claims.duplicate_within_days",))
FACTS: tuple[Fact, ...] = ()

HELP = ConditionHelp(
    looks_at="other claims of the same unit with the same cause",
    outcomes={
        "met": "none is for the same failure, or all of those come later",
        "disputed": (
            "one that comes earlier is for a failure so few days apart that it may be the same"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    reads=("claims.duplicate_within_days",),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from twins_first, the claims for the same failure that come before."""
    cases = [
        *PAPER,
        Case(
            pl.col("twins_first").list.len() > 0,
            "disputed",
            pl.format(
                "Filed before: {}, for the same cause and a failure at most {} away.",
                pl.col("twins_first").list.join(", "),
                days_words("duplicate_within_days"),
            ),
        ),
        Case(ALWAYS, "met", "No earlier claim is for the same failure."),
    ]
    return judged(claims, cases, ["twins_first_sources"])
