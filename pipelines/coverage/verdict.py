"""What the findings of one claim add up to.

Belongs here: the verdict, its lead reason and the missing documents. Does not belong here: single
conditions, money and rulings.
"""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from schemas import codes

PARTS, LABOR = "within_parts_window", "within_labor_window"
# Those of one window, or of the bonus that reaches it: the start-up counts through 10 and 11 alone.
OF_WINDOWS = ("startup_requested_in_time", "startup_completed", PARTS, LABOR)
COMMON = tuple(name for name in codes.CONDITIONS if name not in OF_WINDOWS)


def _any(names: Iterable[str], outcome: str) -> pl.Expr:
    return pl.any_horizontal(pl.col(name) == outcome for name in names)


def _together(names: Iterable[str]) -> pl.Expr:
    """AND over outcomes: unmet before unknown before met; what does not bear is left out."""
    names = list(names)
    return (
        pl.when(_any(names, "unmet"))
        .then(pl.lit("unmet"))
        .when(_any(names, "unknown"))
        .then(pl.lit("unknown"))
        .otherwise(pl.lit("met"))
    )


def _first(outcome: str, names: Iterable[str] = codes.CONDITIONS) -> pl.Expr:
    return pl.coalesce(pl.when(pl.col(name) == outcome).then(pl.lit(name)) for name in names)


def verdicts(outcomes: pl.DataFrame) -> pl.DataFrame:
    """The verdict of each claim.

    Args:
        outcomes: claim and a column of outcomes for each condition, by its name.

    Returns:
        claim, verdict, lead_reason, parts_outcome, labor_outcome (met, unmet or unknown).
    """
    parts, labor = pl.col("parts_outcome"), pl.col("labor_outcome")
    # Any of all conditions, the start-up's two included, before anything else is weighed.
    disputed = _any(codes.CONDITIONS, "disputed")
    verdict = (
        pl.when(disputed)
        .then(pl.lit("needs_review"))
        .when((parts == "unmet") & (labor == "unmet"))
        .then(pl.lit("not_covered"))
        .when((parts == "met") & (labor == "met"))
        .then(pl.lit("covered"))
        .when((parts != "unknown") & (labor != "unknown"))
        .then(pl.lit("covered_in_part"))
        .otherwise(pl.lit("needs_evidence"))
    )
    lead = (
        pl.when(pl.col("verdict") == "needs_review")
        .then(_first("disputed"))
        .when(pl.col("verdict") == "not_covered")
        .then(_first("unmet"))
        # Covered in part leads with the window that is lost, not with the start-up before it.
        .when(pl.col("verdict") == "covered_in_part")
        .then(_first("unmet", (PARTS, LABOR)))
        .when(pl.col("verdict") == "needs_evidence")
        .then(_first("unknown"))
    )
    return (
        outcomes.with_columns(
            parts_outcome=_together((*COMMON, PARTS)), labor_outcome=_together((*COMMON, LABOR))
        )
        .with_columns(verdict=verdict)
        .with_columns(lead_reason=lead)
        .select("claim", "verdict", "lead_reason", "parts_outcome", "labor_outcome")
    )


def verdicts_if_settled(outcomes: pl.DataFrame) -> pl.DataFrame:
    """The verdict of each claim were all that is disputed of it met.

    Args:
        outcomes: as of `verdicts`.

    Returns:
        The columns of `verdicts`; those of a claim without a dispute are as they are.
    """
    settled = pl.col(codes.CONDITIONS)
    return verdicts(
        outcomes.with_columns(
            pl.when(settled == "disputed").then(pl.lit("met")).otherwise(settled).name.keep()
        )
    )


def missing_documents(findings: pl.DataFrame, judged: pl.DataFrame) -> pl.DataFrame:
    """The documents that could still change what each claim comes to.

    Args:
        findings: of all conditions.
        judged: of `verdicts`.

    Returns:
        claim, missing (joined by `; ` in the order of the conditions); only for claims that need
        evidence or review and have one. Half of the start-up bonus is no use where the other half
        is unmet.
    """
    open_claims = judged.filter(pl.col("verdict").is_in(["needs_evidence", "needs_review"]))
    halves = {
        "startup_requested_in_time": "startup_completed",
        "startup_completed": "startup_requested_in_time",
    }
    lost = findings.filter(
        pl.col("condition").is_in(list(halves)) & (pl.col("outcome") == "unmet")
    ).select("claim", condition=pl.col("condition").replace_strict(halves))
    return (
        findings.filter((pl.col("outcome") == "unknown") & pl.col("document").is_not_null())
        .join(open_claims, on="claim", how="semi")
        .join(lost, on=["claim", "condition"], how="anti")
        .sort("claim", "position")
        .group_by("claim", maintain_order=True)
        .agg(missing=pl.col("document").unique(maintain_order=True).str.join("; "))
    )
