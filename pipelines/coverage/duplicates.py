"""Claims for one and the same failure: same unit, same cause, failure dates close together.

Belongs here: which claims are twins and which of them comes first. Does not belong here: what
follows for either (`conditions.only_claim_for_failure`, `conditions.earlier_repair_held`).
"""

from __future__ import annotations

import polars as pl


def same_failure(claims: pl.DataFrame) -> pl.DataFrame:
    """Pairs of claims for one failure, both ways round.

    Args:
        claims: claim, serial, cause, failed_on (the date used), claimed_on,
            duplicate_within_days (null: the claim is left out). Unique by claim.

    Returns:
        claim, twin, twin_first: whether the twin comes earlier by (claimed_on, claim as text),
        where a claim without claimed_on comes last.
    """
    known = claims.filter(
        pl.col("cause").is_not_null() & pl.col("duplicate_within_days").is_not_null()
    ).select("claim", "serial", "cause", "failed_on", "claimed_on", "duplicate_within_days")
    # Most units have one claim: pair only those that have more.
    several = known.filter(pl.len().over("serial", "cause") > 1)
    other = several.select(
        "serial", "cause", twin="claim", twin_failed_on="failed_on", twin_claimed_on="claimed_on"
    )
    apart = (pl.col("failed_on") - pl.col("twin_failed_on")).dt.total_days().abs()
    # 6: earlier by (claimed_on, claim as text), a missing claimed_on last.
    mine, theirs = pl.col("claimed_on"), pl.col("twin_claimed_on")
    return (
        several.join(other, on=["serial", "cause"])
        .filter((pl.col("claim") != pl.col("twin")) & (apart <= pl.col("duplicate_within_days")))
        .select(
            "claim",
            "twin",
            twin_first=pl.when(theirs.is_null() & mine.is_null())
            .then(pl.col("twin") < pl.col("claim"))
            .when(theirs.is_null())
            .then(False)
            .when(mine.is_null())
            .then(True)
            .otherwise((theirs < mine) | ((theirs == mine) & (pl.col("twin") < pl.col("claim")))),
        )
        .sort("claim", "twin")
    )


def with_twins(claims: pl.DataFrame) -> pl.DataFrame:
    """Adds twins (all claims for one failure), twins_first, twins_first_sources and first_twin.

    The lists are sorted by claim; `first_twin` is the earliest of twins_first. All four are null
    for a claim without twins.
    """
    sources = claims.select(twin="claim", source="call_source", twin_claimed_on="claimed_on")
    first = pl.col("twin_first")
    twins = (
        same_failure(claims)
        .join(sources, on="twin")
        .sort("claim", "twin")
        .group_by("claim", maintain_order=True)
        .agg(
            twins="twin",
            twins_first=pl.col("twin").filter(first),
            twins_first_sources=pl.col("source").filter(first),
            first_twin=pl.col("twin")
            .filter(first)
            .sort_by(pl.col("twin_claimed_on").filter(first), nulls_last=True, maintain_order=True)
            .first(),
        )
    )
    return claims.join(twins, on="claim", how="left")
