"""No repair of the same cause by the same agency came shortly before: its work must hold.

Another claim for the very same failure is not counted, whichever of the two comes first; a repair
without a claim number is.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, days_words
from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence, citation
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.records.repairs import is_repair
from pipelines.terms import Terms


def _with_earlier_repairs(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds the repairs of the unit that did not hold: in words, and their citations."""
    keys = ["serial", "cause", "agency"]
    asking = claims.filter(pl.col("workmanship_days").is_not_null()).select(
        "claim", "call", "failed_on", "workmanship_days", "twins", *keys
    )
    repairs = evidence.service_calls.filter(is_repair() & pl.col("completed_on").is_not_null())
    repairs = repairs.join(asking, on="serial", how="semi").select(
        *keys,
        earlier_call="call",
        earlier_claim="claim",
        earlier_on="completed_on",
        earlier_source=citation("service_calls"),
    )
    until = add_days(pl.col("earlier_on"), pl.col("workmanship_days"))
    earlier = (
        asking.join(repairs, on=keys)
        .filter(
            (pl.col("earlier_call") != pl.col("call"))
            & (pl.col("earlier_on") <= pl.col("failed_on"))
            & (pl.col("failed_on") <= until)
            # 7: another claim that 6 takes for the same failure is not counted, in either order;
            # a repair call without a claim number is, so that a null must not drop it.
            & ~pl.col("twins").list.contains(pl.col("earlier_claim")).fill_null(False)
        )
        .sort("claim", "earlier_on", "earlier_call")
        .group_by("claim", maintain_order=True)
        .agg(
            earlier_words=pl.format(
                "call {} completed on {}", "earlier_call", "earlier_on"
            ).str.join(", "),
            earlier_sources=pl.col("earlier_source"),
        )
    )
    return claims.join(earlier, on="claim", how="left", maintain_order="left")


EARLIER_REPAIRS = Fact(("earlier_words", "earlier_sources"), _with_earlier_repairs)
CLAUSE = Clause(7, terms=("claims.workmanship_days",))
FACTS = (EARLIER_REPAIRS,)

HELP = ConditionHelp(
    looks_at="earlier repairs of the same unit for the same cause by the same agency",
    outcomes={
        "met": "none was completed so shortly before the failure",
        "disputed": "one was, so that its work may not have held",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    reads=("claims.workmanship_days", "claims.duplicate_within_days"),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the earlier repairs that did not hold."""
    cases = [
        *PAPER,
        Case(
            pl.col("earlier_words").is_not_null(),
            "disputed",
            pl.format(
                "{} repaired the same cause before ({}), and {} is within {}.",
                "agency",
                "earlier_words",
                "failure_words",
                days_words("workmanship_days"),
            ),
        ),
        Case(ALWAYS, "met", "No recent repair of this cause by this agency came back."),
    ]
    return judged(claims, cases, ["earlier_sources"])
