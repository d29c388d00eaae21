"""Two decisions on the same claims side by side.

Belongs here: what moved, through which condition, and sums before and after. Does not belong here:
how either was decided.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.coverage import Decided
from pipelines.coverage.decisions import BLOCKING
from pipelines.coverage.money import LINES
from schemas.columns import CENTS

UNKNOWN = "unknown"
# By what the money is told: the unit's family, region and water profile, and the month of failure.
GROUPS = ("family", "region", "profile", "month")
SIDES = ("before", "after")


@dataclass(frozen=True)
class Comparison:
    """What other terms come to.

    claims: one row a claim that moves: claim, family, region, profile, failed_on, cause_class,
        edition_before, edition_after, verdict_before, verdict_after, through (the condition that
        differs and leads), outcome_before, outcome_after, reason_before, reason_after, and payable
        in all before and after.
    moves: verdict_before, verdict_after, through, claims, payable_before, payable_after; most
        claims first.
    verdicts: verdict, claims_before, claims_after.
    lines: line (parts, labor, travel), claimed, payable_before, payable_after, standing_before,
        standing_after (with the rulings that stand).
    groups: by (of GROUPS), group, claims, moved, payable_before, payable_after, change.
    """

    claims: pl.DataFrame
    moves: pl.DataFrame
    verdicts: pl.DataFrame
    lines: pl.DataFrame
    groups: pl.DataFrame


def compare(before: Decided, after: Decided, profiles: pl.DataFrame) -> Comparison:
    """Compares two decisions on the same claims.

    Args:
        before, after: decisions and findings.
        profiles: serial, water_profile, as they are told under the terms in force.
    """
    both = _side_by_side(before.decisions, after.decisions, profiles)
    through = _through(both, before.findings, after.findings)
    moved = (
        both.filter("moved")
        .join(through, on="claim", how="left")
        .select(
            "claim",
            "family",
            "region",
            "profile",
            "failed_on",
            "cause_class",
            *(f"edition_{side}" for side in SIDES),
            *(f"verdict_{side}" for side in SIDES),
            "through",
            *(f"{name}_{side}" for name in ("outcome", "reason") for side in SIDES),
            *(f"payable_{side}" for side in SIDES),
        )
        .sort("claim")
    )
    return Comparison(
        claims=moved,
        moves=_moves(moved),
        verdicts=_verdicts(both),
        lines=_lines(before.decisions, after.decisions),
        groups=pl.concat([_grouped(both, by) for by in GROUPS]),
    )


def _payable() -> pl.Expr:
    return pl.sum_horizontal(f"{line}_payable" for line in LINES).cast(CENTS)


def _side_by_side(
    before: pl.DataFrame, after: pl.DataFrame, profiles: pl.DataFrame
) -> pl.DataFrame:
    """Every claim once, with what it comes to on either side."""
    kept = ("edition", "verdict", "lead_reason")
    sides = [
        decisions.select(
            "claim",
            *(pl.col(name).alias(f"{name}_{side}") for name in kept),
            *(pl.col(f"{line}_payable").alias(f"{line}_{side}") for line in LINES),
            _payable().alias(f"payable_{side}"),
        )
        for side, decisions in zip(SIDES, (before, after), strict=True)
    ]
    facts = before.select(
        "claim", "serial", "family", "region", "failed_on", "cause_class"
    ).with_columns(month=pl.col("failed_on").dt.strftime("%Y-%m"))
    known = profiles.select("serial", profile="water_profile").unique("serial")
    both = (
        facts.join(sides[0], on="claim")
        .join(sides[1], on="claim")
        .join(known, on="serial", how="left")
    )
    changes = [pl.col("verdict_before") != pl.col("verdict_after")]
    changes += [pl.col(f"{line}_before") != pl.col(f"{line}_after") for line in LINES]
    return both.with_columns(
        pl.col("family", "region", "profile", "cause_class").fill_null(UNKNOWN),
        moved=pl.any_horizontal(changes),
    )


def _through(both: pl.DataFrame, before: pl.DataFrame, after: pl.DataFrame) -> pl.DataFrame:
    """The finding that differs and leads: that of the lead reason after, else before, else the
    first that bears on the claim, else the first.

    Returns:
        claim, through, and outcome and reason of that condition on either side; only for claims
        that move.
    """
    leads = both.filter("moved").select("claim", "lead_reason_before", "lead_reason_after")
    key = ["claim", "condition"]
    sides = [
        findings.join(leads, on="claim", how="semi").select(
            *key, "position", pl.col("outcome", "reason").name.suffix(f"_{side}")
        )
        for side, findings in zip(SIDES, (before, after), strict=True)
    ]
    differing = (
        sides[0]
        .join(sides[1].drop("position"), on=key)
        .filter(pl.col("outcome_before") != pl.col("outcome_after"))
        .join(leads, on="claim")
    )
    bears = pl.any_horizontal(pl.col(f"outcome_{side}").is_in(BLOCKING) for side in SIDES)
    rank = (
        pl.when(pl.col("condition") == pl.col("lead_reason_after"))
        .then(0)
        .when(pl.col("condition") == pl.col("lead_reason_before"))
        .then(1)
        .when(bears)
        .then(2)
        .otherwise(3)
    )
    return (
        differing.with_columns(rank=rank)
        .sort("claim", "rank", "position")
        .unique("claim", keep="first", maintain_order=True)
        .rename({"condition": "through"})
        .drop("position", "rank", "lead_reason_before", "lead_reason_after")
    )


def _moves(moved: pl.DataFrame) -> pl.DataFrame:
    keys = ["verdict_before", "verdict_after", "through"]
    return (
        moved.group_by(keys)
        .agg(pl.len().cast(pl.Int64).alias("claims"), *_sums())
        .sort("claims", *keys, descending=[True, False, False, False], nulls_last=True)
    )


def _sums() -> list[pl.Expr]:
    return [pl.col(f"payable_{side}").sum().cast(CENTS) for side in SIDES]


def _verdicts(both: pl.DataFrame) -> pl.DataFrame:
    counts = [
        both.group_by(verdict=f"verdict_{side}").agg(
            pl.len().cast(pl.Int64).alias(f"claims_{side}")
        )
        for side in SIDES
    ]
    return (
        counts[0]
        .join(counts[1], on="verdict", how="full", coalesce=True)
        .with_columns(pl.col("claims_before", "claims_after").fill_null(0))
        .sort("verdict")
    )


def _lines(before: pl.DataFrame, after: pl.DataFrame) -> pl.DataFrame:
    def total(decisions: pl.DataFrame, column: str) -> Any:
        return decisions.get_column(column).sum()

    return pl.DataFrame(
        [
            {
                "line": line,
                "claimed": total(before, f"{line}_claimed"),
                **{
                    f"{kind}_{side}": total(decisions, f"{line}_{kind}")
                    for kind in ("payable", "standing")
                    for side, decisions in zip(SIDES, (before, after), strict=True)
                },
            }
            for line in LINES
        ],
        schema={
            "line": pl.String,
            "claimed": CENTS,
            **{f"{k}_{side}": CENTS for k in ("payable", "standing") for side in SIDES},
        },
    )


def _grouped(both: pl.DataFrame, by: str) -> pl.DataFrame:
    return (
        both.group_by(group=by)
        .agg(
            pl.len().cast(pl.Int64).alias("claims"),
            pl.col("moved").sum().cast(pl.Int64),
            *_sums(),
        )
        .select(
            pl.lit(by).alias("by"),
            "group",
            "claims",
            "moved",
            "payable_before",
            "payable_after",
            change=(pl.col("payable_after") - pl.col("payable_before")).cast(CENTS),
        )
        .sort("group")
    )
