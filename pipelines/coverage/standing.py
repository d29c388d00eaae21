"""What stands: the computed verdict, or the ruling of a person over it.

Belongs here: the latest ruling, standing verdict and money, and whether to look again. Does not
belong here: the computed verdict.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.money import LINES, to_cents
from schemas.columns import CENTS


def latest_rulings(rulings: pl.DataFrame) -> pl.DataFrame:
    """The latest ruling a claim: ruling, ruling_reason, ruled_by, ruled_at, `<line>_ruled`."""
    return (
        # Claim and ruled_at are a ruling's key, so that one of them is the last.
        rulings.sort("claim", "ruled_at")
        .unique("claim", keep="last")
        .select(
            "claim",
            "ruling",
            "ruled_by",
            "ruled_at",
            pl.col("reason").alias("ruling_reason"),
            *(to_cents(pl.col(f"{line}_amount")).alias(f"{line}_ruled") for line in LINES),
        )
    )


def with_standing(claims: pl.DataFrame, rulings: pl.DataFrame) -> pl.DataFrame:
    """Adds ruling, ruled_by, ruled_at, standing and `<line>_standing`.

    Without a ruling the computed verdict and the payable amounts stand. With one, each line is the
    ruling's own amount where it gives one; else what a covered claim pays for `covered`, the
    payable amount for `covered_in_part`, nothing for `not_covered`.
    """
    joined = claims.join(latest_rulings(rulings), on="claim", how="left")
    ruling = pl.col("ruling")
    return joined.with_columns(
        pl.coalesce("ruling", "verdict").alias("standing"),
        *(
            pl.when(ruling.is_null())
            .then(f"{line}_payable")
            .when(pl.col(f"{line}_ruled").is_not_null())
            .then(f"{line}_ruled")
            .when(ruling == "covered")
            .then(f"{line}_if_covered")
            .when(ruling == "covered_in_part")
            .then(f"{line}_payable")
            .otherwise(pl.lit(0).cast(CENTS))
            .alias(f"{line}_standing")
            for line in LINES
        ),
    )


def with_ruling_outdated(
    claims: pl.DataFrame, history: pl.DataFrame | None, timezone: str
) -> pl.DataFrame:
    """Adds `ruling_outdated`: whether the claim was ruled on under another verdict than now.

    Args:
        claims: claim, verdict, ruled_at (null without a ruling).
        history, timezone: as in `verdict_when_ruled`; without a history no ruling is outdated.
    """
    if history is None:
        return claims.with_columns(ruling_outdated=pl.lit(False))
    ruled_on = verdict_when_ruled(claims, history, timezone)
    outdated = (pl.col("verdict_when_ruled") != pl.col("verdict")).fill_null(False)
    return (
        claims.join(ruled_on, on="claim", how="left")
        .with_columns(ruling_outdated=outdated)
        .drop("verdict_when_ruled")
    )


def verdict_when_ruled(claims: pl.DataFrame, history: pl.DataFrame, timezone: str) -> pl.DataFrame:
    """The computed verdict that each ruling was made on.

    Args:
        claims: claim and ruled_at (null without a ruling).
        history: decision_history, decided_at in UTC without zone.
        timezone: of the workspace, in which ruled_at stands.

    Returns:
        claim, verdict_when_ruled: by the last entry made by then, or as of an earlier day than the
        ruling's, where somebody refreshes days gone by; where there is none, by the first entry
        after. Only claims with a ruling and a history.
    """
    entries = history.filter(pl.col("to_verdict").is_not_null()).select(
        "claim",
        "to_verdict",
        "as_of",
        decided=pl.col("decided_at")
        .dt.replace_time_zone("UTC")
        .dt.convert_time_zone(timezone)
        .dt.replace_time_zone(None),
    )
    ruled = claims.filter(pl.col("ruled_at").is_not_null()).select("claim", "ruled_at")
    # ruled_at tells whole seconds, and who rules in one has seen what was decided in it.
    by_then = (pl.col("decided").dt.truncate("1s") <= pl.col("ruled_at")) | (
        pl.col("as_of") < pl.col("ruled_at").dt.date()
    )
    before = pl.col("to_verdict").filter(by_then).last()
    return (
        ruled.join(entries, on="claim")
        .sort("claim", "decided")
        .group_by("claim", maintain_order=True)
        .agg(verdict_when_ruled=pl.coalesce(before, pl.col("to_verdict").first()))
    )
