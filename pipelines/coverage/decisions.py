"""Every claim decided: records and terms in, decisions and findings out.

Belongs here: the order of the work. Does not belong here: any rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage.claims import claims_of
from pipelines.coverage.documents_due import with_documents_due
from pipelines.coverage.duplicates import with_twins
from pipelines.coverage.evidence import Evidence, seen
from pipelines.coverage.findings import gathered, switched_off
from pipelines.coverage.judging import judge_in_order
from pipelines.coverage.money import with_amounts, with_payable, with_payable_if_settled
from pipelines.coverage.ruling_limits import Limits, beyond_limit
from pipelines.coverage.standing import with_ruling_outdated, with_standing
from pipelines.coverage.standing_since import with_standing_since
from pipelines.coverage.verdict import missing_documents, verdicts, verdicts_if_settled
from pipelines.records.suggestions import SUGGESTIONS, near_misses
from pipelines.terms import Terms
from schemas import codes
from schemas.columns import column_names
from schemas.decisions import Decisions


@dataclass(frozen=True)
class Decided:
    """The tables `decisions` (one row a claim) and `findings` (one a claim and condition)."""

    decisions: pl.DataFrame
    findings: pl.DataFrame


# Outcomes that keep a claim from being covered.
BLOCKING = ("unmet", "unknown", "disputed")
_IN_THE_WAY = pl.Schema(
    [
        *((name, pl.String()) for name in ("claim", "outcome", "reason")),
        ("evidence", pl.List(pl.String)),
        ("condition", pl.String()),
    ]
)


@dataclass(frozen=True)
class Judged:
    """What stands behind the verdicts: the wide frame of all claims, with `verdict`, and
    `blocking`, the findings that are unmet, unknown or disputed (claim, condition, outcome,
    reason, evidence)."""

    claims: pl.DataFrame
    blocking: pl.DataFrame


def decide(
    evidence: Evidence,
    terms: Terms,
    history: pl.DataFrame | None = None,
    timezone: str = "UTC",
    *,
    only: pl.DataFrame | None = None,
    suggestions: pl.DataFrame | None = None,
    ruling_limits: Limits | None = None,
) -> Decided:
    """Decides every claim that is seen on the as-of date.

    Args:
        evidence: all records; what is not seen yet is left out here.
        terms: all editions.
        history: decision_history so far, to tell which rulings were made on another verdict, and
            since when documents are asked for.
        timezone: of the workspace, for comparing the history with the rulings.
        only: the claims to decide (claim), where the evidence bears on others too; None for all.
        suggestions: of `near_misses` for all claims, where the evidence does not hold the whole
            register; None to look for them in it.
        ruling_limits: who may rule up to what amount; None: everyone may.

    Returns:
        Decisions by claim, findings by claim and position.
    """
    evidence = seen(evidence)
    claims = with_twins(claims_of(evidence, terms))
    # After the twins, which may be claims that nobody asks about.
    if only is not None:
        claims = claims.join(only, on="claim", how="semi")
    claims, judgments = judge_in_order(_suggested(claims, evidence, suggestions), evidence, terms)
    findings = gathered(claims, judgments)
    decisions = _decisions(claims, findings, evidence, history, timezone, ruling_limits)
    return Decided(decisions, findings)


def judge_claims(evidence: Evidence, terms: Terms) -> Judged:
    """The verdict of each claim with what stands behind it, for evidence of one batch's size.

    Args:
        evidence: what is seen as of its as-of date (`seen`).
        terms: all editions.
    """
    claims = with_twins(claims_of(evidence, terms))
    # Copies of a register have no near misses of its serials.
    nothing = pl.DataFrame(schema=SUGGESTIONS)
    claims, judgments = judge_in_order(_suggested(claims, evidence, nothing), evidence, terms)
    outcomes = _outcomes(claims)
    standing_in_the_way = [
        of_condition.filter(
            pl.col("outcome").is_in(BLOCKING) & (outcomes[name] != "not_needed")
        ).select("claim", "outcome", "reason", "evidence", condition=pl.lit(name))
        for name, of_condition in judgments.items()
        # Few conditions are in the way of few claims.
        if not set(BLOCKING).isdisjoint(of_condition["outcome"])
    ]
    verdicts_of = verdicts(outcomes).select("claim", "verdict")
    blocking = pl.concat([_IN_THE_WAY.to_frame(), *standing_in_the_way])
    return Judged(claims.join(verdicts_of, on="claim"), blocking)


def _suggested(
    claims: pl.DataFrame, evidence: Evidence, suggestions: pl.DataFrame | None
) -> pl.DataFrame:
    """Adds serial_suggestion to claims on serials that are not on the register; sorts by claim."""
    if suggestions is None:
        unknown = claims.filter(pl.col("unit_source").is_null()).get_column("serial")
        suggestions = near_misses(unknown, evidence.units.get_column("serial"))
    suggested = suggestions.rename({"suggestion": "serial_suggestion"})
    return claims.join(suggested, on="serial", how="left").sort("claim")


def _outcomes(claims: pl.DataFrame) -> pl.DataFrame:
    """claim, and the outcome of each condition after switching off."""
    return claims.select(
        "claim",
        *(
            pl.when(switched_off(name)).then(pl.lit("not_needed")).otherwise(name).alias(name)
            for name in codes.CONDITIONS
        ),
    )


def _decisions(
    claims: pl.DataFrame,
    findings: pl.DataFrame,
    evidence: Evidence,
    history: pl.DataFrame | None,
    timezone: str,
    ruling_limits: Limits | None,
) -> pl.DataFrame:
    outcomes = _outcomes(claims)
    judged = verdicts(outcomes)
    stand = (
        claims.join(judged, on="claim")
        .join(_if_settled(outcomes, judged), on="claim", how="left")
        .join(missing_documents(findings, judged), on="claim", how="left")
        .pipe(with_amounts)
        .pipe(with_payable)
        .pipe(with_payable_if_settled)
        .pipe(with_standing, evidence.rulings)
        .pipe(with_documents_due, history, evidence.as_of)
        .pipe(
            with_standing_since,
            history,
            evidence.as_of,
            evidence.approvals,
            evidence.withdrawals,
        )
    )
    # Without a Test there is no water that they could be of.
    tested = pl.col("water_tested") == "met"
    return (
        stand.pipe(with_ruling_outdated, history, timezone)
        .with_columns(
            duplicate_of=pl.when("is_duplicate").then("first_twin"),
            severity=pl.when(tested).then("severity"),
            needs=pl.when(tested).then("needs"),
            ruling_beyond_limit=beyond_limit(ruling_limits),
        )
        .select(column_names(Decisions))
        .sort("claim")
    )


def _if_settled(outcomes: pl.DataFrame, judged: pl.DataFrame) -> pl.DataFrame:
    """claim, if_settled, parts_if_settled, labor_if_settled, of claims that need review; and
    is_duplicate, whether another claim comes before."""
    reviewed = judged.filter(pl.col("verdict") == "needs_review").select("claim")
    disputed = outcomes.join(reviewed, on="claim", how="semi")
    duplicates = disputed.select(
        "claim", is_duplicate=pl.col("only_claim_for_failure") == "disputed"
    )
    return duplicates.join(
        verdicts_if_settled(disputed).select(
            "claim",
            if_settled="verdict",
            parts_if_settled="parts_outcome",
            labor_if_settled="labor_outcome",
        ),
        on="claim",
    )
