"""A complete test of the supply water was sampled by the failure date.

Others may hold one, so its absence is never more than unknown.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import WATER
from pipelines.coverage.declarations import Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.coverage.supply_tests import SUPPLY_TEST

CLAUSE = Clause(15, terms=("water.panel",))
FACTS = (SUPPLY_TEST,)

DOCUMENT = "complete supply water test from before the failure"

HELP = ConditionHelp(
    looks_at="tests of the unit's supply water, sampled by the failure date",
    outcomes={
        "met": "one reports every analyte of the panel",
        "unknown": "none does: it is incomplete, from after the failure, or there is none",
        "not_needed": "the cause is not related to water, or the model needs no water treatment",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established"
        ),
    },
    reads=("water.panel",),
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the test in force, else the latest incomplete or first later one."""
    outside = pl.col("test_outside")
    cases = [
        *WATER,
        Case(
            pl.col("test_sample").is_not_null(),
            "met",
            pl.format(
                "By test {} of {}: {}.",
                "test_sample",
                "test_sampled_on",
                pl.when(outside == "")
                .then(pl.lit("nothing outside the limits"))
                .otherwise(outside),
            ),
        ),
        Case(
            pl.col("partial_sample").is_not_null(),
            "unknown",
            pl.format(
                "Test {} of {} is incomplete: it lacks {}.",
                "partial_sample",
                "partial_sampled_on",
                "partial_lacks",
            ),
            DOCUMENT,
        ),
        Case(
            pl.col("later_sample").is_not_null(),
            "unknown",
            pl.format(
                "The first supply test, {} of {}, was sampled after {}.",
                "later_sample",
                "later_sampled_on",
                "failure_words",
            ),
            DOCUMENT,
        ),
        Case(ALWAYS, "unknown", "No supply water test is on file.", DOCUMENT),
    ]
    # 15: one of the three is cited: the test, else an incomplete one, else one from after d.
    without = pl.col("test_source").is_null()
    partial = pl.when(without).then("partial_source")
    later = pl.when(without & pl.col("partial_source").is_null()).then("later_source")
    return judged(claims, cases, ["test_source", partial, later])
