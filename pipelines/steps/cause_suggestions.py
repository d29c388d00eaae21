"""Suggests causes from the tables of the refresh.

Belongs here: handing records, terms and phrases to `pipelines.assist.causes`. Does not belong
here: any rule of suggestion, and any way to a decision: `pipelines.coverage` reads none of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from pipelines.assist.causes.calls import repair_calls
from pipelines.assist.causes.study import study_causes
from pipelines.coverage.evidence import Evidence, seen
from pipelines.store.database import query_frame, read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.repairs import IS_REPAIR
from pipelines.store.transaction import RefreshSession
from schemas.feeds import record_schema


def cause_tables(session: RefreshSession) -> Iterator[tuple[str, pl.DataFrame]]:
    """Each table of `schemas.causes.CAUSE_TABLES` by its name."""
    inputs = session.inputs
    units = read_frame(session.con, "unit_histories", columns=["serial", "edition", "family"])
    calls = repair_calls(_evidence(session), units, inputs.terms.installation_limits)
    studied = study_causes(calls, inputs.reference.phrases)
    yield "cause_suggestions", studied.suggestions
    yield "cause_model_quality", studied.quality
    yield "cause_reliability", studied.reliability
    yield "cause_confusion", studied.confusion


def _evidence(session: RefreshSession) -> Evidence:
    """Units, start-ups and repairs as seen by the day; of the calls most are no repairs."""
    evidence = load_evidence(session.inputs, session.con, only=["units", "startups"])
    repairs = query_frame(session.con, f"select * from service_calls where {IS_REPAIR}")
    repairs = repairs.cast(record_schema("service_calls"))
    return seen(replace(evidence, service_calls=repairs))
