"""Systems that do what the water calls for were installed by the failure date."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.claim_treatment import TREATMENT_HELD
from pipelines.coverage.conditions.gates import TREATMENT, unless_met
from pipelines.coverage.conditions.treatment_suits_water import lacking
from pipelines.coverage.declarations import Clause
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST

CLAUSE = Clause(18, terms=("treatment.grace_days",))
FACTS = (SUPPLY_TEST, TREATMENT_HELD)

DOCUMENT = "proof of the treatment's installation date"


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
            ALWAYS,
            "unmet",
            pl.format(
                "What was installed by {} does nothing against {}.",
                failure,
                lacking("installed_abilities").list.join(", "),
            ),
        ),
    ]
    return judged(claims, cases, ["good_sources", "installation_sources"])
