"""What claims that still wait may come to cost.

Belongs here: what they would pay if covered, and the share of such claims that came to be covered.
Does not belong here: payable amounts, the forecast.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import polars as pl

from pipelines.field.context import FieldContext

LINES = ("parts", "labor", "travel")
WAITING = ("needs_evidence", "needs_review")
COVERED = ("covered", "covered_in_part")
FEWEST_OF_A_REASON = 20
EVERY_REASON = "all"
COLUMNS = (
    "verdict",
    "standing",
    "lead_reason",
    *(f"{line}_if_covered" for line in LINES),
)


class Share(NamedTuple):
    """The share of claims that came to be covered, its exact 95 % limits, and how many it rests on.

    decided is 0 where none that waited has been decided: all decided claims stand in.
    """

    share: float
    low: float
    high: float
    decided: int
    covered: int


def with_pending(
    context: FieldContext, decisions: pl.DataFrame, history: pl.DataFrame
) -> FieldContext:
    """The failures with what waits of each, and the claims that waited and were decided since.

    Args:
        context: the fleet.
        decisions: claim and COLUMNS.
        history: claim, from_verdict, to_verdict, moved_from_to of `decision_history`.

    Returns:
        the context whose failures have if_covered (what the claim would pay if covered; 0 where it
        does not wait) and waits_for (its lead reason; null where it does not).
    """
    waits = pl.col("standing").is_in(WAITING)
    amount = pl.sum_horizontal(pl.col(f"{line}_if_covered").cast(pl.Float64) for line in LINES)
    pending = decisions.select(
        "claim",
        if_covered=pl.when(waits).then(amount).otherwise(0.0),
        waits_for=pl.when(waits).then(pl.col("lead_reason").fill_null("unknown")),
    )
    failures = context.failures.drop("if_covered", "waits_for", strict=False)
    failures = failures.join(pending, on="claim", how="left", maintain_order="left")
    settled = settled_claims(decisions, history)
    return replace(
        context,
        failures=failures.with_columns(pl.col("if_covered").fill_null(0.0)),
        before=context.before.join(pending, on="claim", how="left"),
        grounds=replace(context.grounds, settled=settled),
    )


def settled_claims(decisions: pl.DataFrame, history: pl.DataFrame) -> pl.DataFrame:
    """Claims that waited once and no longer do: lead_reason, decided, covered.

    The reason is the condition that first moved as the verdict changed, or the present lead reason
    where a ruling settled the claim. The reason `all` has all of them; where there is none, the row
    `decided` has all claims that are decided.
    """
    left = history.filter(
        pl.col("from_verdict").is_in(WAITING), ~pl.col("to_verdict").is_in(WAITING).fill_null(True)
    )
    moved = pl.col("moved_from_to").list.first().struct.field("condition")
    reasons = left.group_by("claim").agg(moved=moved.last())
    waited = pl.concat(
        [
            history.filter(
                pl.col("to_verdict").is_in(WAITING) | pl.col("from_verdict").is_in(WAITING)
            ).select("claim"),
            decisions.filter(pl.col("verdict").is_in(WAITING)).select("claim"),
        ]
    ).unique()
    now = decisions.filter(~pl.col("standing").is_in(WAITING)).select(
        "claim", "verdict", "lead_reason", covered=pl.col("standing").is_in(COVERED)
    )
    own = (
        now.join(waited, on="claim", how="semi")
        .join(reasons, on="claim", how="left")
        .with_columns(
            lead_reason=pl.when(pl.col("verdict").is_in(WAITING))
            .then("lead_reason")
            .otherwise("moved")
            .fill_null("unknown")
        )
    )
    counts = {"decided": pl.len().cast(pl.Int64), "covered": pl.col("covered").sum().cast(pl.Int64)}
    by_reason = own.group_by("lead_reason").agg(**counts).sort("lead_reason")
    rows = [
        by_reason,
        own.select(lead_reason=pl.lit(EVERY_REASON), **counts),
        now.select(lead_reason=pl.lit("decided"), **counts),
    ]
    return pl.concat(rows)


def shares(context: FieldContext) -> dict[str, Share]:
    """The share by lead reason where 20 were decided, and `all`."""
    rows = {reason: counts for reason, *counts in context.grounds.settled.rows()}
    decided, covered = rows.get(EVERY_REASON, [0, 0])
    whole = _share(decided, covered)
    if not decided:
        of_all = _share(*rows.get("decided", [0, 0]))
        whole = Share(of_all.share, 0.0, 1.0, 0, 0)
    by_reason = {EVERY_REASON: whole}
    for reason, (own, met) in rows.items():
        if own >= FEWEST_OF_A_REASON and reason not in (EVERY_REASON, "decided"):
            by_reason[reason] = _share(own, met)
    return by_reason


def _share(decided: int, covered: int) -> Share:
    from scipy.special import betaincinv

    if not decided:
        return Share(1.0, 0.0, 1.0, 0, 0)
    low = betaincinv(covered, decided - covered + 1, 0.025) if covered else 0.0
    high = betaincinv(covered + 1, decided - covered, 0.975) if covered < decided else 1.0
    return Share(covered / decided, float(low), float(high), decided, covered)


def weighted(context: FieldContext, bound: str = "share") -> pl.Expr:
    """What waits of a failure, weighted; `bound`: share, low or high."""
    if "if_covered" not in context.failures.columns:
        return pl.lit(0.0)
    by_reason = shares(context)
    weight = pl.lit(getattr(by_reason[EVERY_REASON], bound))
    for reason, share in by_reason.items():
        if reason != EVERY_REASON:
            weight = (
                pl.when(pl.col("waits_for") == reason)
                .then(pl.lit(getattr(share, bound)))
                .otherwise(weight)
            )
    return pl.col("if_covered") * weight


def waiting(context: FieldContext) -> pl.Expr:
    """Whether the failure's claim waits."""
    known = "waits_for" in context.failures.columns
    return pl.col("waits_for").is_not_null() if known else pl.lit(False)
