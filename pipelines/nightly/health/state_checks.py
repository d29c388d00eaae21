"""The doctor's look at what is of one state and what is not: tables, pages, inputs, unended runs.

Belongs here: findings where two things should agree and do not. Does not belong here: what the
store's tables say (`store_checks`), or what lies around it (`workspace_checks`).
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing

import duckdb

from pipelines.errors import LimeledgerError
from pipelines.events.recorded import look_at_recorded
from pipelines.nightly.health.finding import Finding, Weight
from pipelines.store.database import connect
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.published_state import (
    PublishedState,
    missing_files,
    mixture,
    pages_are_of,
    published_manifest,
    without_state,
)
from pipelines.store.run_log import read_log, unfinished
from pipelines.store.states import read_states, run_state
from pipelines.store.working_copy import working_file
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings


def state_findings(
    workspace: Workspace, con: duckdb.DuckDBPyConnection, state: PublishedState | None
) -> Iterator[Finding]:
    """Whether tables, pages and inputs are of one state."""
    again = "Refresh again: that brings them in step."
    if state is not None:
        for sentence in [*mixture(con), *without_state(con)][:3]:
            yield Finding("fault", "store", f"{sentence[0].upper()}{sentence[1:]}.", again)
    if not published_manifest(workspace.published):
        yield Finding("warning", "pages", "There are no published pages.", again)
    elif state is None or not pages_are_of(state, workspace.published):
        weight: Weight = "warning" if state is None else "fault"  # of an earlier version: told of
        yield Finding(weight, "pages", "The pages are not those of this store.", again)
    elif missing := missing_files(workspace.published):
        more = f", and {len(missing) - 1:,} more" if len(missing) > 1 else ""
        sentence = f"published/{missing[0]} is missing{more}."
        yield Finding("fault", "pages", sentence, again)
    if state is None:
        return
    try:
        recorded = look_at_recorded(workspace, load_settings(workspace))
        inputs = load_inputs(workspace.root, state.as_of, recorded)
    except LimeledgerError:
        return  # told of already
    if state.is_behind(inputs):
        yield Finding(
            "note",
            "inputs",
            "Settings, mappings, reference files or terms have changed since the last refresh.",
            again,
        )
    yield from _recorded(state, inputs, again)


def _recorded(state: PublishedState, inputs: Inputs, again: str) -> Iterator[Finding]:
    """What else has another content than that which was published, whatever its size."""
    try:
        lying = run_state(inputs)
    except LimeledgerError:
        return  # told of already
    for kind, words in (("exports", "Exports"), ("recorded", "Rulings and what else is recorded")):
        if getattr(state, kind) != getattr(lying, kind):
            sentence = f"{words} are not those of the last refresh."
            yield Finding("note", "inputs", sentence, again)
    if state.tool != lying.tool:
        sentence = "Store and pages were made by another version of the tool."
        yield Finding("note", "inputs", sentence, again)


def working_copy_findings(workspace: Workspace) -> Iterator[Finding]:
    """A working copy that a partial or failed run left, where it holds what is not published."""
    path = working_file(workspace)
    if not path.is_file() or not workspace.database.exists():
        return
    try:
        with closing(connect(path, read_only=True)) as con:
            left = read_states(con)
        with closing(connect(workspace.database, read_only=True)) as con:
            published = {row["state"] for row in read_states(con).values()}
    except (LimeledgerError, duckdb.Error):
        return  # damaged, or being written: it is named among what was left
    other = [row for row in left.values() if row["state"] not in published]
    if other:
        days = " and ".join(sorted({str(row["as_of"]) for row in other}))
        yield Finding(
            "warning",
            "working copy",
            f"{path.relative_to(workspace.root)} holds {len(other)} tables, as of {days}, of "
            "another state than the store: a run of some tables left them, or one that failed.",
            f"Run `limeledger refresh {workspace.root}`: it goes on from what is of its inputs, "
            "publishes, and removes the rest.",
        )


def runs_elsewhere(workspace: Workspace) -> Iterator[Finding]:
    """Runs of other machines that have not ended: whether they still run cannot be seen here."""
    for line in unfinished(read_log(workspace.store)):
        who = line.get("process")
        host = who.get("host") if isinstance(who, dict) else None
        if host is not None and host != socket.gethostname():
            yield Finding(
                "warning",
                "last refresh",
                f"The run that began at {line.get('at')} on {host} has not ended: it still runs "
                "there, or was killed.",
                "Look there; if it does not run, refresh here, which puts down that it was killed.",
            )
