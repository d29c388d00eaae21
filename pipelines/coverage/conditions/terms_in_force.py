"""An edition of the terms was in force when the unit was bought (or shipped, where unknown)."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import UNREGISTERED
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(2, terms=("effective_from",))
FACTS: tuple[Fact, ...] = ()

DOCUMENT = "the terms that applied when the unit was bought"

HELP = ConditionHelp(
    looks_at=(
        "the purchase date of the unit (its shipping date where there is none), and the editions "
        "of the terms"
    ),
    outcomes={
        "met": "an edition had begun by then",
        "unknown": "none had",
        "not_evaluated": "the unit is not on the register",
    },
    reads=("effective_from",),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from edition and the purchase date that picks it."""
    bought = (
        pl.when(pl.col("purchased_on").is_not_null())
        .then(pl.format("bought on {}", "purchased_on"))
        .otherwise(pl.format("shipped on {} (no purchase date is known)", "shipped_on"))
    )
    cases = [
        UNREGISTERED,
        Case(
            pl.col("edition").is_not_null(),
            "met",
            pl.format("The unit was {}, so edition {} applies.", bought, "edition"),
        ),
        Case(
            ALWAYS,
            "unknown",
            pl.format("The unit was {}; no edition was in force by then.", bought),
            DOCUMENT,
        ),
    ]
    return judged(claims, cases, ["unit_source"])
