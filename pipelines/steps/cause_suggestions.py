"""Suggests causes from the tables of the refresh.

Belongs here: handing records, terms and phrases to `pipelines.assist.causes`. Does not belong
here: any rule of suggestion, and any way to a decision: `pipelines.coverage` reads none of it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator
from dataclasses import replace

import duckdb
import polars as pl

from pipelines.assist.causes.calls import repair_calls
from pipelines.assist.causes.study import study_causes
from pipelines.coverage.evidence import seen
from pipelines.steps.step import Step, Written
from pipelines.store.claim_reads import repairs
from pipelines.store.database import LAST, read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.last import last_rows
from pipelines.store.transaction import RefreshSession
from schemas.causes import CAUSE_TABLES
from schemas.feeds import record_schema


def cause_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Learns from the booked causes and suggests others, where either can have changed."""
    frames = cause_frames(session)
    made = [name for name in CAUSE_TABLES if name in wanted]
    session.put(*(session.write(name, frames[name], CAUSE_TABLES[name]) for name in made))
    yield from map(Written, made)


def cause_frames(session: RefreshSession) -> dict[str, pl.DataFrame]:
    """The tables of causes by name: of the published store where nothing they rest on moved.

    All of them are a function of the code, the phrases and the repair calls in the shape of
    `calls.CALLS`, which do not tell the day. So they stand where code, reference files, terms and
    settings are those of the published store, and the calls that it would gather as of its day are
    those of this run: every row, booked or not, since a new note may bring a word into the model.
    """
    calls = _calls(session, "")
    if _are_published(session, calls):
        return {name: last_rows(session.con, name, table) for name, table in CAUSE_TABLES.items()}
    studied = study_causes(calls, session.inputs.reference.phrases)
    return {
        "cause_suggestions": studied.suggestions,
        "cause_model_quality": studied.quality,
        "cause_reliability": studied.reliability,
        "cause_confusion": studied.confusion,
    }


def _are_published(session: RefreshSession, calls: pl.DataFrame) -> bool:
    """Whether the published suggestions rest on exactly these calls, by this code and inputs."""
    before = session.last.state
    return (
        before is not None
        and session.last.can_stand(session.state)
        and calls.equals(_calls(session, f"{LAST}.", before.as_of))
    )


def _calls(session: RefreshSession, place: str, as_of: dt.date | None = None) -> pl.DataFrame:
    """The repair calls of the working copy, or of the published store, as seen by a day."""
    con, inputs = session.con, session.inputs
    units = read_frame(con, f"{place}unit_histories", columns=["serial", "edition", "family"])
    # Of the calls most are no repairs.
    evidence = replace(
        load_evidence(inputs, con, only=[]),
        units=_records(con, place, "units"),
        startups=_records(con, place, "startups"),
        service_calls=repairs(con, f"{place}service_calls"),
        as_of=as_of or inputs.as_of,
    )
    return repair_calls(seen(evidence), units, inputs.terms.installation_limits)


def _records(con: duckdb.DuckDBPyConnection, place: str, feed: str) -> pl.DataFrame:
    schema = record_schema(feed)
    return read_frame(con, f"{place}{feed}", columns=schema.names(), schema=schema)


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
