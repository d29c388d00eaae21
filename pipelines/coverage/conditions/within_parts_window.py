"""The failure came while parts cover ran: its base time, or the bonus where that is earned."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.windows import window_cases
from pipelines.coverage.declarations import Clause
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


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the failure date and the two ends of parts cover."""
    return judged(claims, window_cases("parts"), ["unit_source", "startup_sources"])
