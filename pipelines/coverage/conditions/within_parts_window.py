"""The failure came while parts cover ran: its base time, or the bonus where that is earned."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.windows import window_cases
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import judged
from pipelines.terms import Terms


def judge(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Findings from the failure date and the two ends of parts cover."""
    return judged(claims, window_cases("parts"), ["unit_source", "startup_sources"])
