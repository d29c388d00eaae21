"""The unit that failed is one that the maker knows: its serial stands on the register.

A serial that is one edit away from exactly one unit is suggested, never used.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(1, records="the register of units")
FACTS: tuple[Fact, ...] = ()

DOCUMENT = "proof of the unit's serial and registration"

HELP = ConditionHelp(
    looks_at="the serial of the call, and the register of units",
    outcomes={
        "met": "the serial is on the register",
        "unknown": "it is not; a serial that is one edit away from exactly one unit is suggested",
    },
    documents=(DOCUMENT,),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from unit_source (null off the register) and serial_suggestion."""
    serial = pl.col("serial")
    cases = [
        Case(
            pl.col("unit_source").is_not_null(),
            "met",
            pl.format("Unit {} is on the register.", serial),
        ),
        Case(
            pl.col("serial_suggestion").is_not_null(),
            "unknown",
            pl.format(
                "Serial {} is not on the register; {} is one edit away.",
                serial,
                "serial_suggestion",
            ),
            DOCUMENT,
        ),
        Case(ALWAYS, "unknown", pl.format("Serial {} is not on the register.", serial), DOCUMENT),
    ]
    return judged(claims, cases, ["unit_source"])
