"""What stands between a claim and another verdict: the documents and records that could turn it.

Belongs here: turning findings into requests, in words. Does not belong here: deciding.
"""

from __future__ import annotations

import polars as pl


def remedies_of(decisions: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    """What would change the verdict of each claim, by the findings that stand in its way.

    Args:
        decisions: claim, verdict.
        findings: claim, position, condition, outcome, reason, document.

    Returns:
        claim, sentence, document (null where no document helps), by claim and position; nothing
        for a claim that is covered.
    """
    outcome, verdict = pl.col("outcome"), pl.col("verdict")
    stands_in_the_way = (
        pl.when(verdict == "needs_evidence")
        .then(outcome == "unknown")
        .when(verdict == "needs_review")
        .then(outcome.is_in(["disputed", "unknown"]))
        .when(verdict == "covered")
        .then(pl.lit(False))
        .otherwise(outcome == "unmet")
    )
    name = pl.col("condition").str.replace_all("_", " ")
    return (
        findings.join(decisions.select("claim", "verdict"), on="claim")
        .filter(stands_in_the_way)
        .sort("claim", "position")
        .select(
            "claim",
            sentence=pl.when(pl.col("document").is_not_null())
            .then(pl.format("To settle “{}”: send the {}.", name, "document"))
            .when(outcome == "disputed")
            .then(pl.format("A person must look at “{}”: {}", name, "reason"))
            .otherwise(pl.format("Only a corrected record changes “{}”: {}", name, "reason")),
            document="document",
        )
    )
