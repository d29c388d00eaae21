"""One table of the store, for commands that only look.

Belongs here: opening the store to read. Does not belong here: writing anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import polars as pl

from pipelines.errors import WorkspaceError
from pipelines.store.database import connect, has_table, read_frame
from pipelines.store.published_state import PublishedState, state_of
from pipelines.store.tool import source_hash
from pipelines.workspace.layout import Workspace


@contextmanager
def open_store(workspace: Workspace) -> Iterator[duckdb.DuckDBPyConnection]:
    """The store, to read from.

    Raises:
        WorkspaceError: nothing has been refreshed yet.
    """
    if not workspace.database.exists():
        raise WorkspaceError(
            f"{workspace.root}: nothing has been decided here yet; "
            f"run `limeledger refresh {workspace.root}` first."
        )
    con = connect(workspace.database, read_only=True)
    try:
        yield con
    finally:
        con.close()


def published_state(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> PublishedState:
    """What the store says of itself, where this very tool refreshed it last.

    Raises:
        WorkspaceError: another version of the tool did, whose tables may hold other things.
    """
    state = state_of(con)
    if state is None or state.tool != source_hash():
        raise WorkspaceError(
            f"The store of {workspace.root} was made by another version of this tool; "
            f"run `limeledger refresh {workspace.root}` first."
        )
    return state


def published_table(folder: str | Path, name: str) -> pl.DataFrame:
    """One table as the last refresh left it.

    Raises:
        WorkspaceError: nothing has been refreshed yet, or not by a tool that knows the table.
    """
    workspace = Workspace.open(folder)
    with open_store(workspace) as con:
        if not has_table(con, name):
            raise WorkspaceError(
                f"The store of {folder} has no table {name}; refresh the workspace once more."
            )
        return read_frame(con, name)


def no_such_claim(claim: str) -> str:
    """The sentence for a claim that the store does not hold."""
    return (
        f"There is no claim {claim} in this workspace as of its last refresh; "
        "check the number, or refresh if the claim is new."
    )
