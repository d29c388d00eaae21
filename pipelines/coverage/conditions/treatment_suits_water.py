"""The systems bought do, taken together, all that the water calls for."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.claim_treatment import TREATMENT_HELD
from pipelines.coverage.conditions.gates import TREATMENT, unless_met
from pipelines.coverage.declarations import CLOCK_KEYS, NEED_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST
from pipelines.water.limits import need_words

CLAUSE = Clause(17, terms=("water.limits",))
FACTS = (SUPPLY_TEST, TREATMENT_HELD)


def lacking(abilities: str) -> pl.Expr:
    """The needs that a list of abilities leaves open; null where the list is."""
    return pl.col("needs").list.set_difference(pl.col(abilities)).list.sort()


HELP = ConditionHelp(
    looks_at="what the water calls for, and what the systems bought can do",
    outcomes={
        "met": "together they do all of it",
        "unmet": "they leave something undone",
        "not_needed": (
            "the cause is not related to water, or the model needs no water treatment; or "
            "treatment could still be fitted on the failure date; or the water calls for nothing "
            "that bears on the cause"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established, or the water is not tested, or no treatment was bought that"
            " counts"
        ),
    },
    reads=("treatment.sellers", *NEED_KEYS, *CLOCK_KEYS),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from needs and good_abilities."""
    needs = need_words(pl.col("needs"))
    cases = [
        *TREATMENT,
        unless_met("treatment_bought_new", "No treatment was bought that counts."),
        Case(
            lacking("good_abilities").list.len() == 0,
            "met",
            pl.format(
                "The unit needs treatment against {}; the systems bought do it: {}.",
                needs,
                "good_products",
            ),
        ),
        Case(
            ALWAYS,
            "unmet",
            pl.format(
                "The unit needs treatment against {}; the systems bought ({}) do nothing against "
                "{}.",
                needs,
                "good_products",
                need_words(lacking("good_abilities")),
            ),
        ),
    ]
    return judged(claims, cases, ["test_source", "good_sources"])
