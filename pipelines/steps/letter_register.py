"""The register of letters of a refresh: what it adds, with texts, and bringing the events up to it.

Belongs here: reading what stands from the store, the table `letters`, and appending what a
publication has made known. Does not belong here: which letters are due
(`pipelines.letters.register`), or the form of their events (`pipelines.events.letters`).

The table is made before the pages are, with the numbers that the entries will have; the events
follow once the publication stands. Where a refresh is killed between the two, the next one appends
them first: the store tells what was made known, and the register which publication it has seen.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping
from typing import Any

import duckdb
import polars as pl

from pipelines.engine.ground import DECIDING
from pipelines.events import Desk, open_desk
from pipelines.events.event import Event
from pipelines.events.letters import (
    LETTER,
    TEXTS,
    Register,
    publication_seen,
    read_register,
    written_entry,
)
from pipelines.letters.register import Due, due
from pipelines.steps.letter_texts import TEXTS_SCHEMA, texts_of
from pipelines.steps.letters_standing import standing_of
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.layout import Workspace
from schemas.columns import polars_schema
from schemas.register import Letters, LetterTexts, RegisterSeen

_BY = "refresh"
_MANY = 100  # entries of what was told before that go into one event


def register_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The register as it will be once this run is published, and the texts of its new letters."""
    inputs, con = session.inputs, session.con
    register = _register(inputs)
    standing = standing_of(inputs, con, register.frame)
    last = inputs.recorded.last_event
    due_letters = _due(inputs, register, standing, session.decided_at, last)
    texts = texts_of(inputs, con, register.frame, due_letters.entries)
    entries = due_letters.applied(register.frame).join(
        texts.select("entry", "subject"), on="entry", how="left", suffix="_new"
    )
    table = entries.with_columns(subject=pl.coalesce("subject_new", "subject")).drop("subject_new")
    seen_event = pl.DataFrame({"last_event": [last]}, schema=polars_schema(RegisterSeen))
    made = {
        "letters": (table, Letters),
        "letter_texts": (texts, LetterTexts),
        "register_seen": (seen_event, RegisterSeen),
    }
    chosen = [name for name in STEP.tables if name in wanted]
    session.put(*(session.write(name, *made[name]) for name in chosen))
    yield from (Written(name) for name in chosen)


def bring_up(workspace: Workspace) -> None:
    """Appends what the last publication has made known, where the register has not seen it.

    Nothing happens where nothing was published yet, or not by a tool that keeps the register, or
    where the store is damaged: the refresh that makes it anew comes here again.

    Raises:
        StorageError: another program holds the store, or it may not be read.
    """
    if is_sound(workspace):
        with open_store(workspace) as con:
            bring_up_to(workspace, con)


def bring_up_to(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> None:
    """The same, of a store that is open."""
    state = state_of(con)
    if state is None or not has_table(con, "register_seen"):
        return
    name = f"{state.publication} {state.state}"
    desk = open_desk(workspace)
    try:
        with desk.reading() as connection:
            if publication_seen(connection) == name:
                return
        inputs = load_inputs(workspace.root, state.as_of)
        with desk.writing() as connection:
            if publication_seen(connection) == name:
                return
            register = read_register(desk, connection)
            made_at = state.decided_at or state.published_at
            standing = standing_of(inputs, con, register.frame)
            last = int(read_frame(con, "register_seen")["last_event"].item())
            due_letters = _due(inputs, register, standing, made_at, last)
            texts = _frozen(inputs, con, register, due_letters.entries)
            append_due(desk, connection, due_letters, texts, state.as_of, publication=name)
    finally:
        desk.close()


def append_due(
    desk: Desk,
    connection: Any,
    due_letters: Due,
    texts: pl.DataFrame,
    as_of: dt.date,
    *,
    publication: str | None = None,
    actor: str = _BY,
    via: Any = "refresh",
    os_user: str | None = None,
) -> None:
    """Appends events of what is due: one a letter or change, one for many that were told before.

    `publication` is put down last, as the one that the register has then seen.
    """

    def event(payload: Mapping[str, Any], row: Mapping[str, Any] | None = None) -> None:
        claim = row["claim"] if row else None
        subject = f"letter {row['entry']}" if row else None
        made = Event(LETTER, as_of, actor, via, claim, subject, payload, os_user)
        desk.append(connection, made)

    before = read_register(desk, connection, entries=due_letters.states["entry"]).rows
    for change in due_letters.states.to_dicts():
        entry = written_entry(change)
        event({"states": [entry]}, {**change, "claim": before[change["entry"]]["claim"]})
    frozen = {row["entry"]: row for row in texts.to_dicts()}
    quiet = []
    for row in due_letters.entries.to_dicts():
        texts_of_it = {n: frozen[row["entry"]][n] for n in TEXTS} if row["entry"] in frozen else {}
        entry = written_entry(row) | texts_of_it
        if row["state"] == "told_before":
            quiet.append(entry)
        else:
            event({"entries": [entry]}, row)
    for start in range(0, len(quiet), _MANY):
        event({"entries": quiet[start : start + _MANY]})
    if publication is not None:
        event({"publication": publication})


def _register(inputs: Inputs) -> Register:
    """The register as it is."""
    desk = open_desk(inputs.workspace, inputs.settings)
    try:
        with desk.reading() as connection:
            return read_register(desk, connection)
    finally:
        desk.close()


def _due(
    inputs: Inputs,
    register: Register,
    standing: pl.DataFrame,
    made_at: dt.datetime,
    last_event: int,
) -> Due:
    # What people did since the run read what they had recorded is known better at the desk.
    newer = register.claims_moved_after(last_event)
    settings = inputs.settings.letters
    return due(
        register.frame,
        standing.filter(~pl.col("claim").is_in(list(newer)).fill_null(False)),
        inputs.as_of,
        made_at,
        since=settings.since,
        reminders=settings.reminders,
        kinds=settings.kinds,
    )


def _frozen(
    inputs: Inputs,
    con: duckdb.DuckDBPyConnection,
    register: Register,
    entries: pl.DataFrame,
) -> pl.DataFrame:
    """The texts as the publication made them; written now where somebody was in between."""
    keys = ["claim", "serial", "kind", "basis"]
    made = read_frame(con, "letters").join(read_frame(con, "letter_texts"), on="entry")
    there = entries.select("entry", *keys).join(
        made.select(*keys, *TEXTS).unique(keys, keep="last"), on=keys, nulls_equal=True
    )
    lacking = entries.join(there, on="entry", how="anti")
    written = texts_of(inputs, con, register.frame, lacking)
    return pl.concat([there.select(TEXTS_SCHEMA.names()), written])


STEP = Step(
    name="register_of_letters",
    group="decisions",
    title="Register of letters",
    tables={"letters": Letters, "letter_texts": LetterTexts, "register_seen": RegisterSeen},
    reads=(
        *DECIDING,
        "decisions",
        "findings",
        "startup_reviews",
        "installation_findings",
        "treatment_recommendations",
        "unit_histories",
        "feed_states",
        *REFERENCE_ASSETS,
        "terms_values",
    ),
    within={"letter_texts": ("letters",), "register_seen": ("letters",)},
    work=register_tables,
    rooms=(
        "pipelines/letters",
        "pipelines/startups",
        "dashboards/letters",
        "dashboards/templates/letters",
        "pipelines/steps/letter_register.py",
        "pipelines/steps/frozen_letters.py",
        "pipelines/steps/letter_texts.py",
        "pipelines/steps/letters_standing.py",
        "pipelines/steps/unit_letter_texts.py",
        "pipelines/steps/letters.py",
    ),
    about={"letters": "Their texts are frozen with the desk's events."},
)
