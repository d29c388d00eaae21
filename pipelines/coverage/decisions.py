"""Every claim decided: records and terms in, decisions and findings out.

Belongs here: the order of the work. Does not belong here: any rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from types import ModuleType

import polars as pl

from pipelines.coverage import startups
from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.claim_treatment import with_treatment
from pipelines.coverage.claims import claims_of
from pipelines.coverage.conditions import (
    agency_authorized,
    cause_established,
    cause_not_excluded,
    delimed,
    earlier_repair_held,
    filed_in_time,
    installation_sound,
    only_claim_for_failure,
    records_agree,
    startup_completed,
    startup_requested_in_time,
    terms_in_force,
    treatment_bought_new,
    treatment_installed,
    treatment_maintained,
    treatment_suits_water,
    unit_on_register,
    water_tested,
    within_labor_window,
    within_parts_window,
)
from pipelines.coverage.documents_due import with_documents_due
from pipelines.coverage.duplicates import with_twins
from pipelines.coverage.evidence import Evidence, seen
from pipelines.coverage.findings import gathered, switched_off
from pipelines.coverage.money import with_amounts, with_payable
from pipelines.coverage.ruling_limits import Limits, beyond_limit
from pipelines.coverage.standing import with_ruling_outdated, with_standing
from pipelines.coverage.supply_tests import with_supply_test
from pipelines.coverage.verdict import missing_documents, verdicts
from pipelines.records.suggestions import SUGGESTIONS, near_misses
from pipelines.terms import Terms
from schemas import codes
from schemas.columns import column_names
from schemas.decisions import Decisions

CONDITIONS: dict[str, ModuleType] = {
    module.__name__.rpartition(".")[2]: module
    for module in (
        unit_on_register,
        terms_in_force,
        records_agree,
        filed_in_time,
        agency_authorized,
        only_claim_for_failure,
        earlier_repair_held,
        startup_requested_in_time,
        startup_completed,
        within_parts_window,
        within_labor_window,
        cause_established,
        cause_not_excluded,
        installation_sound,
        water_tested,
        treatment_bought_new,
        treatment_suits_water,
        treatment_installed,
        treatment_maintained,
        delimed,
    )
}


# Claims judged at a time.
BATCH = 50_000


@dataclass(frozen=True)
class Decided:
    """The tables `decisions` (one row a claim) and `findings` (one a claim and condition)."""

    decisions: pl.DataFrame
    findings: pl.DataFrame


# Outcomes that keep a claim from being covered.
BLOCKING = ("unmet", "unknown", "disputed")


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
    batches = list(
        decide_in_batches(
            evidence,
            terms,
            history,
            timezone,
            only=only,
            suggestions=suggestions,
            ruling_limits=ruling_limits,
        )
    )
    return Decided(
        pl.concat([batch.decisions for batch in batches]),
        pl.concat([batch.findings for batch in batches]),
    )


def decide_in_batches(
    evidence: Evidence,
    terms: Terms,
    history: pl.DataFrame | None = None,
    timezone: str = "UTC",
    *,
    only: pl.DataFrame | None = None,
    suggestions: pl.DataFrame | None = None,
    ruling_limits: Limits | None = None,
) -> Iterator[Decided]:
    """As `decide`, so many claims at a time, to bound the memory; at least one batch.

    No condition looks at another claim beyond its twins, which are looked up for all at first.
    """
    evidence = seen(evidence)
    claims = with_twins(claims_of(evidence, terms))
    if only is not None:
        claims = claims.join(only, on="claim", how="semi")
    claims = _with_facts(claims, evidence, suggestions)
    for start in range(0, max(claims.height, 1), BATCH):
        batch, judgments = _judge(claims.slice(start, BATCH), evidence, terms)
        findings = gathered(batch, judgments)
        decisions = _decisions(batch, findings, evidence, history, timezone, ruling_limits)
        yield Decided(decisions, findings)


def judge_claims(evidence: Evidence, terms: Terms) -> Judged:
    """The verdict of each claim with what stands behind it, for evidence of one batch's size.

    Args:
        evidence: what is seen as of its as-of date (`seen`).
        terms: all editions.
    """
    claims = with_twins(claims_of(evidence, terms))
    # Copies of a register have no near misses of its serials.
    nothing = pl.DataFrame(schema=SUGGESTIONS)
    claims, judgments = _judge(_with_facts(claims, evidence, nothing), evidence, terms)
    outcomes = _outcomes(claims)
    standing_in_the_way = [
        found.filter(pl.col("outcome").is_in(BLOCKING) & (outcomes[name] != "not_needed")).select(
            "claim", "outcome", "reason", "evidence", condition=pl.lit(name)
        )
        for name, found in judgments.items()
    ]
    verdicts_of = verdicts(outcomes).select("claim", "verdict")
    return Judged(claims.join(verdicts_of, on="claim"), pl.concat(standing_in_the_way))


def _judge(
    claims: pl.DataFrame, evidence: Evidence, terms: Terms
) -> tuple[pl.DataFrame, dict[str, pl.DataFrame]]:
    """All conditions in order; each outcome becomes a column for those after it."""
    judgments = {}
    for name, module in CONDITIONS.items():
        if name == "water_tested":
            claims = with_supply_test(claims, evidence.water_tests, terms).sort("claim")
        if name == "treatment_bought_new":
            claims = with_treatment(claims, evidence).sort("claim")
        judgments[name] = module.judge(claims, evidence, terms)
        claims = claims.with_columns(judgments[name].get_column("outcome").alias(name))
    return claims, judgments


def _with_facts(
    claims: pl.DataFrame, evidence: Evidence, suggestions: pl.DataFrame | None
) -> pl.DataFrame:
    """Adds what several conditions ask for: filing limit, start-up outcomes, near misses."""
    failed = pl.col("failed_on")
    reports_to = evidence.complete_to("startups")
    between = [
        (pl.col(f"{kind}_base_end") <= failed) & (failed < pl.col(f"{kind}_extended_end"))
        for kind in ("parts", "labor")
    ]
    if suggestions is None:
        unknown = claims.filter(pl.col("unit_source").is_null()).get_column("serial")
        suggestions = near_misses(unknown, evidence.units.get_column("serial"))
    return (
        claims.with_columns(
            file_by=add_days(pl.col("completed_on"), pl.col("file_within_days")),
            request_due_on=startups.request_due_on(),
            requested=startups.requested_in_time(reports_to),
            completed=startups.completed_by(failed, reports_to),
            bonus_matters=(between[0] | between[1]).fill_null(False),
        )
        .join(suggestions.rename({"suggestion": "serial_suggestion"}), on="serial", how="left")
        .sort("claim")
    )


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
    judged = verdicts(_outcomes(claims))
    stand = (
        claims.join(judged, on="claim")
        .join(missing_documents(findings, judged), on="claim", how="left")
        .pipe(with_amounts)
        .pipe(with_payable)
        .pipe(with_standing, evidence.rulings)
        .pipe(with_documents_due, history, evidence.as_of)
    )
    tested = pl.col("water_tested") == "met"
    return (
        stand.pipe(with_ruling_outdated, history, timezone)
        .with_columns(
            severity=pl.when(tested).then("severity"),
            needs=pl.when(tested).then("needs"),
            ruling_beyond_limit=beyond_limit(ruling_limits),
        )
        .select(column_names(Decisions))
        .sort("claim")
    )
