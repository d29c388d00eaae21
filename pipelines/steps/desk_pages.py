"""What people did at the desk, and what should happen next, as the published pages tell it.

Belongs here: reading events, users and the register for the pages. Does not belong here: what
events add up to (`pipelines.events`), which step comes next (`pipelines.worklist`), or any words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

import duckdb
import polars as pl

from dashboards.desk_words import local, said
from pipelines.events import is_there, open_desk
from pipelines.events.event import Kind, Recorded
from pipelines.events.worklist_rows import user_names, worklist_rows
from pipelines.store.correction_states import correction_states
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import last_event_seen
from pipelines.worklist.next_steps import next_steps
from schemas.worklist import DESK, DESK_EVENTS, NEXT_STEPS, SETTLED_ROWS, STALE_CORRECTIONS

# What a refresh does by itself, and who may sign in, is no news of a claim and moves none in the
# list. Letters are far the most events, so that these are not read.
NO_NEWS = ("letter", "sending", "user", "closing")
_NEWS = tuple(kind for kind in get_args(Kind) if kind not in NO_NEWS)
_LETTER = ("entry", "claim", "kind", "state", "email", "due_on", "sending_at")


@dataclass(frozen=True)
class DeskRead:
    """What a run reads of the desk beside what decides: the events up to its own that can be news
    of a claim, and names."""

    events: list[Recorded] = field(default_factory=list)
    names: Mapping[str, str] = field(default_factory=dict)

    @property
    def rows(self) -> pl.DataFrame:
        """One row of `schemas.worklist.DESK` a claim on which people acted, with their names."""
        rows = worklist_rows(self.events)
        return rows.with_columns(
            pl.col("assigned_to").replace(dict(self.names)) if self.names else "assigned_to"
        ).select(DESK.names())


def read_desk(inputs: Inputs) -> DeskRead:
    """The desk as this run reads it: what is recorded meanwhile is the next one's."""
    if not is_there(inputs.workspace, inputs.settings):
        return DeskRead()
    desk = open_desk(inputs.workspace, inputs.settings)
    try:
        with desk.reading() as connection:
            events = desk.events(connection, kinds=_NEWS)
            names = user_names(connection)
    finally:
        desk.close()
    last = inputs.recorded.last_event
    return DeskRead([event for event in events if event.event <= last], names)


def desk_page_data(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, read: DeskRead
) -> dict[str, Any]:
    """The frames of `PageData` on what people did, by their names."""
    return {
        "desk_events": _news(inputs, con, read),
        "stale_corrections": _stale(inputs, con),
        "settled_rows": _settled(inputs),
    }


def steps_of_claims(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, rows: pl.DataFrame
) -> pl.DataFrame:
    """What should happen next with claims, in the shape of `PageData.next_steps`.

    Args:
        rows: of `pipelines.worklist.order.order_claims`, as many as there are pages.
    """
    letters: dict[str, list[dict[str, Any]]] = {}
    if has_table(con, "letters"):
        register = read_frame(con, "letters", columns=list(_LETTER))
        for letter in register.join(rows.select("claim"), on="claim", how="semi").to_dicts():
            letters.setdefault(letter["claim"], []).append(letter)
    step_rows = [
        {"claim": row["claim"], "action": step.action, "label": step.label, "command": step.command}
        for row in rows.iter_rows(named=True)
        for step in next_steps(row, letters.get(row["claim"], []), inputs.as_of)
    ]
    return pl.DataFrame(step_rows, schema=NEXT_STEPS)


def _news(inputs: Inputs, con: duckdb.DuckDBPyConnection, read: DeskRead) -> pl.DataFrame:
    """What people did since the publication before, the newest first."""
    seen = last_event_seen(con)
    news = [
        {
            "event": event.event,
            "at": local(event.at, inputs.settings.zone),
            "actor": read.names.get(event.actor, event.actor),
            "claim": event.claim,
            "said": said(event.kind, event.subject, event.payload),
        }
        for event in reversed(read.events)
        if event.event > seen and event.via != "refresh"
    ]
    return pl.DataFrame(news, schema=DESK_EVENTS)


def _stale(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Corrections whose row is another one now."""
    if not inputs.recorded.made:
        return pl.DataFrame(schema=STALE_CORRECTIONS)
    recorded, zone = inputs.recorded, inputs.settings.timezone
    states = correction_states(con, recorded, zone, recorded.last_event)
    stale_rows = [
        {"correction": one.made.event, "claim": one.made.claim, "sentence": one.stale_sentence}
        for one in states
        if one.state == "stale"
    ]
    return pl.DataFrame(stale_rows, schema=STALE_CORRECTIONS)


def _settled(inputs: Inputs) -> pl.DataFrame:
    """Set-aside rows for which a person entered a record."""
    settled_rows = [
        {"feed": feed, "file": file, "line": line, "record": event}
        for (feed, file, line), event in inputs.recorded.settled.items()
    ]
    return pl.DataFrame(settled_rows, schema=SETTLED_ROWS)
