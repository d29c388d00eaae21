"""No earlier claim is for the same failure: same unit and cause, failure dates close together.

Of two such claims the one filed first stands; a claim without a filing date comes last.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.duplicates import same_failure
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.terms import Terms


def judge(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Findings from the pairs of claims for one failure."""
    twins = (
        same_failure(claims)
        .filter("twin_first")
        .join(
            claims.select(
                twin="claim", twin_source="call_source", twin_words=_words(pl.col("claim"))
            ),
            on="twin",
        )
        .sort("claim", "twin")
        .group_by("claim", maintain_order=True)
        .agg(pl.col("twin_words").str.join(", "), twin_sources=pl.col("twin_source"))
    )
    cases = [
        *PAPER,
        Case(
            pl.col("twin_words").is_not_null(),
            "disputed",
            pl.format(
                "{} is for the same cause, at most {} days apart, and was filed first.",
                "twin_words",
                "duplicate_within_days",
            ),
        ),
        Case(ALWAYS, "met", "No earlier claim is for the same failure."),
    ]
    return judged(claims.join(twins, on="claim", how="left"), cases, ["twin_sources"])


def _words(claim: pl.Expr) -> pl.Expr:
    return pl.format("Claim {} (failed on {})", claim, "failed_on")
