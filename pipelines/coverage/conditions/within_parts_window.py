"""The failure came while parts cover ran: its base time, or the bonus where that is earned."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions import startup_completed, startup_requested_in_time
from pipelines.coverage.conditions.windows import window_cases
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import judged
from pipelines.coverage.startups import STARTUP_OUTCOMES

CLAUSE = Clause(
    10,
    terms=(
        "coverage.parts_months",
        "startup.bonus_parts_months",
    ),
)
FACTS = (STARTUP_OUTCOMES,)

HELP = ConditionHelp(
    looks_at=(
        "the failure date, the start of the warranty, and whether the start-up bonus is earned"
    ),
    outcomes={
        "met": "parts cover still ran, with the bonus where that is earned",
        "unmet": "it had ended; the day on which it ends is outside",
        "unknown": "it ran only with the bonus, and nobody knows whether that is earned",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "failure came before the warranty started"
        ),
    },
    reads=(
        "coverage.parts_months",
        "startup.bonus_parts_months",
        "startup.request_within_days",
        *CLOCK_KEYS,
    ),
    documents=(startup_requested_in_time.DOCUMENT, startup_completed.DOCUMENT),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the failure date and the two ends of parts cover."""
    return judged(claims, window_cases("parts"), ["unit_source", "startup_sources"])
