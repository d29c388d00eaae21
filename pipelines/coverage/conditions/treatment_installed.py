"""Systems that do what the water calls for were installed by the failure date."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.claim_treatment import TREATMENT_HELD
from pipelines.coverage.conditions.gates import TREATMENT, unless_met
from pipelines.coverage.conditions.treatment_suits_water import lacking
from pipelines.coverage.declarations import CLOCK_KEYS, NEED_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST
from pipelines.water.limits import need_words

CLAUSE = Clause(18, terms=("treatment.grace_days",))
FACTS = (SUPPLY_TEST, TREATMENT_HELD)

DOCUMENT = "proof of the treatment's installation date"

HELP = ConditionHelp(
    looks_at="calls that installed treatment, and the treatment that start-up reports name",
    outcomes={
        "met": "systems that do all of it were installed by the failure date",
        "unmet": "they were not",
        "unknown": "they would be, were the systems without any installation date counted",
        "not_needed": (
            "the cause is not related to water, or the model needs no water treatment; or "
            "treatment could still be fitted on the failure date; or the water calls for nothing "
            "that bears on the cause"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established, or the water is not tested, or the treatment bought does "
            "not suit it"
        ),
    },
    reads=("treatment.sellers", *NEED_KEYS, *CLOCK_KEYS),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the abilities of what was installed, and of what may have been."""
    failure = pl.col("failure_words")
    cases = [
        *TREATMENT,
        unless_met("treatment_suits_water", "The treatment bought does not suit the water."),
        Case(
            lacking("installed_abilities").list.len() == 0,
            "met",
            pl.format("Installed by {}: {}.", failure, "installed_words"),
        ),
        # 18: unknown only where the good systems without any date would make up for it.
        Case(
            lacking("provable_abilities").list.len() == 0,
            "unknown",
            pl.format("No installation date is on file for {}.", "unproven_products"),
            DOCUMENT,
        ),
        Case(
            pl.col("installed_words") == "",
            "unmet",
            pl.format("Of what was bought nothing was installed by {}.", failure),
        ),
        Case(
            ALWAYS,
            "unmet",
            pl.format(
                "What was installed by {} does nothing against {}.",
                failure,
                need_words(lacking("installed_abilities")),
            ),
        ),
    ]
    return judged(claims, cases, ["good_sources", "installation_sources"])
