"""The failure came while labor cover ran: its base time, or the bonus where that is earned."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.windows import window_cases
from pipelines.coverage.declarations import Clause
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


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the failure date and the two ends of labor cover."""
    return judged(claims, window_cases("labor"), ["unit_source", "startup_sources"])
