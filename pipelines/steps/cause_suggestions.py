"""Suggests causes from the tables of the refresh.

Belongs here: handing records, terms and phrases to `pipelines.assist.causes`. Does not belong
here: any rule of suggestion, and any way to a decision: `pipelines.coverage` reads none of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from pipelines.assist.causes.calls import repair_calls
from pipelines.assist.causes.study import study_causes
from pipelines.coverage.evidence import Evidence, seen
from pipelines.steps.step import Step, Written
from pipelines.store.claim_reads import repairs
from pipelines.store.database import read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.transaction import RefreshSession
from schemas.causes import CAUSE_TABLES


def cause_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Learns from the booked causes and suggests others."""
    inputs = session.inputs
    units = read_frame(session.con, "unit_histories", columns=["serial", "edition", "family"])
    calls = repair_calls(_evidence(session), units, inputs.terms.installation_limits)
    studied = study_causes(calls, inputs.reference.phrases)
    frames = {
        "cause_suggestions": studied.suggestions,
        "cause_model_quality": studied.quality,
        "cause_reliability": studied.reliability,
        "cause_confusion": studied.confusion,
    }
    made = [name for name in CAUSE_TABLES if name in wanted]
    session.put(*(session.write(name, frames[name], CAUSE_TABLES[name]) for name in made))
    yield from map(Written, made)


def _evidence(session: RefreshSession) -> Evidence:
    """Units, start-ups and repairs as seen by the day; of the calls most are no repairs."""
    evidence = load_evidence(session.inputs, session.con, only=["units", "startups"])
    return seen(replace(evidence, service_calls=repairs(session.con)))


STEP = Step(
    name="cause_suggestions_of_notes",
    group="causes",
    title="Causes from notes",
    tables=CAUSE_TABLES,
    reads=(
        "units",
        "service_calls",
        "startups",
        "feed_states",
        "unit_histories",
        "terms_installation_limits",
        "reference_causes",
        "reference_phrases",
    ),
    work=cause_tables,
    rooms=("pipelines/assist/causes", "pipelines/steps/cause_suggestions.py"),
    about=dict.fromkeys(CAUSE_TABLES, "It is for people, and decides nothing."),
)
