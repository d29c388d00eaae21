"""The failure came while labor cover ran: its base time, or the bonus where that is earned."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions import startup_completed, startup_requested_in_time
from pipelines.coverage.conditions.windows import window_cases
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import judged
from pipelines.coverage.startups import STARTUP_OUTCOMES

CLAUSE = Clause(
    11,
    terms=(
        "coverage.labor_months",
        "startup.bonus_labor_months",
    ),
)
FACTS = (STARTUP_OUTCOMES,)

HELP = ConditionHelp(
    looks_at=(
        "the failure date, the start of the warranty, and whether the start-up bonus is earned"
    ),
    outcomes={
        "met": "labor cover still ran, with the bonus where that is earned",
        "unmet": "it had ended; the day on which it ends is outside",
        "unknown": "it ran only with the bonus, and nobody knows whether that is earned",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "failure came before the warranty started"
        ),
    },
    reads=(
        "coverage.labor_months",
        "startup.bonus_labor_months",
        "startup.request_within_days",
        *CLOCK_KEYS,
    ),
    documents=(startup_requested_in_time.DOCUMENT, startup_completed.DOCUMENT),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the failure date and the two ends of labor cover."""
    return judged(claims, window_cases("labor"), ["unit_source", "startup_sources"])
