"""The register of letters of a refresh: what it adds, with texts, and bringing the events up to it.

Belongs here: reading what stands from the store, the table `letters`, and appending what a
publication has made known. Does not belong here: which letters are due
(`pipelines.letters.register`), or the form of their events (`pipelines.events.letters`).

The table is made before the pages are, with the numbers that the entries will have; the events
follow once it is published, as the table has them, unless people did something meanwhile. Where a
refresh is killed between the two, the next one appends them first: the store tells what was made
known, and the register which publication it has seen.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.engine.ground import DECIDING
from pipelines.events import open_desk
from pipelines.events.letters import (
    TEXTS,
    Register,
    append_due,
    publication_seen,
    read_register,
)
from pipelines.letters.register import Due, due
from pipelines.steps.letter_texts import TEXTS_SCHEMA, texts_of
from pipelines.steps.letters_standing import standing_of
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.register_seen import name_of
from pipelines.steps.step import Step, Written
from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.published_state import PublishedState, state_of
from pipelines.store.reading import open_store
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.layout import Workspace
from schemas.columns import polars_schema
from schemas.register import Letters, LetterTexts, RegisterSeen


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
    name = name_of(state)
    desk = open_desk(workspace)
    try:
        with desk.reading() as connection:
            if publication_seen(connection) == name:
                return
        with desk.writing() as connection:
            if publication_seen(connection) == name:
                return
            register = read_register(desk, connection)
            last = int(read_frame(con, "register_seen")["last_event"].item())
            if desk.last_event(connection) == last:  # the table tells what is due, and how it reads
                due_letters = Due.between(register.frame, read_frame(con, "letters"))
                texts = read_frame(con, "letter_texts")
            else:
                due_letters, texts = _due_since(workspace, con, state, register, last)
            append_due(desk, connection, due_letters, texts, state.as_of, publication=name)
    finally:
        desk.close()


def _due_since(
    workspace: Workspace,
    con: duckdb.DuckDBPyConnection,
    state: PublishedState,
    register: Register,
    last_event: int,
) -> tuple[Due, pl.DataFrame]:
    """What is due of a publication, with texts, where people did something since it read events."""
    inputs = load_inputs(workspace.root, state.as_of)
    standing = standing_of(inputs, con, register.frame)
    made_at = state.decided_at or state.published_at
    due_letters = _due(inputs, register, standing, made_at, last_event)
    return due_letters, _frozen(inputs, con, register, due_letters.entries)


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
    unsent = register.frame.filter(pl.col("state") == "to_send", pl.col("claim").is_not_null())
    gone = unsent.join(standing, on="claim", how="anti")["claim"]
    return due(
        register.frame,
        standing.filter(~pl.col("claim").is_in(list(newer)).fill_null(False)),
        inputs.as_of,
        made_at,
        since=settings.since,
        reminders=settings.reminders,
        kinds=settings.kinds,
        gone=set(gone) - newer,
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
