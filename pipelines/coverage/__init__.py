"""Warranty claims: twenty conditions, what they add up to, the money, and what stands.

Belongs here: everything that follows from records and terms for one claim. Does not belong here:
reading records or terms, figures over many units, storage and pages.
"""

from pipelines.coverage.decisions import Decided, Judged, decide, judge_claims
from pipelines.coverage.evidence import Evidence, seen

__all__ = ["Decided", "Evidence", "Judged", "decide", "judge_claims", "seen"]
