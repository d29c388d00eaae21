"""The systems that the water calls for had their cartridges kept up, by changes or by stock."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import days_words
from pipelines.coverage.claim_treatment import TREATMENT_HELD
from pipelines.coverage.conditions.gates import TREATMENT, unless_met
from pipelines.coverage.conditions.treatment_suits_water import lacking
from pipelines.coverage.declarations import CLOCK_KEYS, NEED_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST

CLAUSE = Clause(
    19,
    terms=(
        "maintenance.cartridge_months",
        "maintenance.cartridge_grace_days",
        "treatment.fresh_days",
    ),
)
FACTS = (SUPPLY_TEST, TREATMENT_HELD)

DOCUMENT = "proof that the treatment's cartridges were changed"

HELP = ConditionHelp(
    looks_at="changes of cartridges, and cartridges bought, from the installation to the failure",
    outcomes={
        "met": "the cartridges of systems that do all of it were kept up",
        "unmet": "they were not, and orders and calls on file reach the failure date",
        "unknown": "they were not, and orders or calls on file do not reach the failure date",
        "disputed": (
            "they were, but only with a system that was fitted shortly before the failure, which a"
            " person must look at"
        ),
        "not_needed": (
            "the cause is not related to water, or the model needs no water treatment; or "
            "treatment could still be fitted on the failure date; or the water calls for nothing "
            "that bears on the cause"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established, or the water is not tested, or no treatment that suits it "
            "was installed"
        ),
    },
    reads=(
        "maintenance.cartridge_months",
        "maintenance.cartridge_grace_days",
        "maintenance.mild_up_to",
        "maintenance.severe_above",
        "maintenance.look_back_months",
        "treatment.fresh_days",
        "treatment.sellers",
        *NEED_KEYS,
        *CLOCK_KEYS,
    ),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the abilities of the systems kept up, and the lapses of the others."""
    failed = pl.col("failed_on")
    # 19: unmet needs both feeds, since either may hold what kept a cartridge up.
    complete = (evidence.complete_to("treatment_purchases") >= failed) & (
        evidence.complete_to("service_calls") >= failed
    )
    lapsed = pl.format("In {} water a cartridge fell due: {}", "severity", "lapse_words")
    cases = [
        *TREATMENT,
        unless_met("treatment_installed", "No treatment that suits the water was installed."),
        # 19: a new system says nothing of the scale that was there before.
        Case(
            (lacking("kept_abilities").list.len() == 0)
            & (lacking("settled_abilities").list.len() > 0),
            "disputed",
            pl.format(
                "Kept up: {}; but fitted less than {} before {}: {}. A new system says "
                "nothing of the scale that was there before, so a person must look.",
                "kept_products",
                days_words("fresh_days"),
                "failure_words",
                "fresh_words",
            ),
        ),
        Case(
            lacking("kept_abilities").list.len() == 0,
            "met",
            pl.format("Kept up: {}.", "kept_products"),
        ),
        Case(complete, "unmet", pl.format("{}.", lapsed)),
        Case(
            ALWAYS,
            "unknown",
            pl.format(
                "{}; orders and calls are not both on file up to {}.", lapsed, "failure_words"
            ),
            DOCUMENT,
        ),
    ]
    return judged(claims, cases, ["test_source", "installation_sources", "upkeep_sources"])
