"""A treatment system was bought new, from an approved seller, by the failure date."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.claim_treatment import TREATMENT_HELD
from pipelines.coverage.conditions.gates import TREATMENT
from pipelines.coverage.declarations import CLOCK_KEYS, NEED_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST

CLAUSE = Clause(16, terms=("treatment.sellers",))
FACTS = (SUPPLY_TEST, TREATMENT_HELD)

DOCUMENT = "order of a water treatment system"

HELP = ConditionHelp(
    looks_at="orders of water treatment systems for the unit or its site",
    outcomes={
        "met": "a system was bought new, by the failure date, from a seller that counts",
        "unmet": (
            "none of the orders counts; or there is none, and the orders on file reach the failure"
            " date"
        ),
        "unknown": "there is none, and the orders on file do not reach the failure date",
        "not_needed": (
            "the cause is not related to water, or the model needs no water treatment; or "
            "treatment could still be fitted on the failure date; or the water calls for nothing "
            "that bears on the cause"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established, or the water is not tested"
        ),
    },
    reads=("treatment.sellers", *NEED_KEYS, *CLOCK_KEYS),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the good systems, else from what is wrong with every order."""
    none = pl.col("system_orders").is_null()
    complete = evidence.complete_to("treatment_purchases") >= pl.col("failed_on")
    failure = pl.col("failure_words")
    cases = [
        *TREATMENT,
        Case(
            pl.col("good_products").is_not_null(),
            "met",
            pl.format("Bought new from an approved seller: {}.", "good_words"),
        ),
        # 16: the company sells treatments itself, so silence counts once the feed reaches d.
        Case(
            none & complete,
            "unmet",
            pl.format("No treatment system was bought; the orders reach past {}.", failure),
        ),
        Case(
            none,
            "unknown",
            pl.format("No treatment system is on order; the orders do not reach {}.", failure),
            DOCUMENT,
        ),
        Case(ALWAYS, "unmet", pl.format("No order counts: {}.", "purchase_faults")),
    ]
    return judged(claims, cases, [pl.coalesce("good_sources", "order_sources"), "test_source"])
