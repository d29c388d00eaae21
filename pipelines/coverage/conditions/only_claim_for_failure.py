"""No earlier claim is for the same failure: same unit and cause, failure dates close together.

Of two such claims the one filed first stands; a claim without a filing date comes last.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(6, terms=("claims.duplicate_within_days",))
FACTS: tuple[Fact, ...] = ()


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from twins_first, the claims for the same failure that come before."""
    cases = [
        *PAPER,
        Case(
            pl.col("twins_first").list.len() > 0,
            "disputed",
            pl.format(
                "Filed before: {}, for the same cause and a failure at most {} days away.",
                pl.col("twins_first").list.join(", "),
                "duplicate_within_days",
            ),
        ),
        Case(ALWAYS, "met", "No earlier claim is for the same failure."),
    ]
    return judged(claims, cases, ["twins_first_sources"])
