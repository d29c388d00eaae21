"""The lines that the index of the archive is to get, as the store has them, and putting them there.

Belongs here: sealing a publication, mending what a kill left before that, and what was never
sealed. Does not belong here: writing the files (`files`), or the index itself (`chain`).

They stand in the store too, so that whoever takes a line off the index, or the index as a whole,
cannot take it out of the published store by the same hand.
"""

from __future__ import annotations

from pathlib import Path

import duckdb
import polars as pl

from pipelines.errors import StorageError, WorkspaceError
from pipelines.store.archive.chain import Chain, Line, append_lines, archive_folder, read_chain
from pipelines.store.database import append_frame, has_table, query_frame
from pipelines.store.database import connect as connect_store
from pipelines.store.same_file import once_a_file
from pipelines.workspace.layout import Workspace

SEALS = "archive.seals"  # in a schema of its own: it is no table of what is published
SEAL_COLUMNS = pl.Schema(
    {
        "publication": pl.Int64(),
        "file": pl.String(),
        "sha256": pl.String(),
        "rows": pl.Int64(),
        "previous": pl.String(),
        "format": pl.Int64(),
    }
)


def take_over_seals(con: duckdb.DuckDBPyConnection, chain: Chain) -> None:
    """SEALS as the index has it: what a run before this one put there without publishing goes."""
    con.execute("create schema if not exists archive")
    con.execute(f"drop table if exists {SEALS}")
    append_frame(con, SEALS, seals_frame(chain.lines))


def seals_frame(lines: list[Line] | tuple[Line, ...]) -> pl.DataFrame:
    """Lines of the index as a frame of SEAL_COLUMNS."""
    rows = [[getattr(line, name) for name in SEAL_COLUMNS] for line in lines]
    return pl.DataFrame(rows, schema=SEAL_COLUMNS, orient="row")


def seals(con: duckdb.DuckDBPyConnection) -> list[Line]:
    """The lines that the store says the index has."""
    if not has_table(con, SEALS):
        return []
    names = ", ".join(SEAL_COLUMNS)
    return [Line(*row) for row in query_frame(con, f"select {names} from {SEALS}").iter_rows()]


def seal(workspace: Workspace) -> None:
    """Adds to the index what the published store has and it lacks; nothing where it lacks nothing.

    Called after the swap, and when a run begins: a kill between swap and seal is mended here, from
    the store itself.
    """
    if not workspace.database.is_file():
        return
    sealed = store_seals(workspace)
    if not sealed:
        return
    folder = archive_folder(workspace)
    folder.mkdir(parents=True, exist_ok=True)
    lines = read_chain(folder).lines
    texts = [line.text for line in sealed]
    known = [line.text for line in lines]
    if known == texts[: len(known)] and len(known) < len(texts):
        append_lines(folder, sealed[len(known) :])


catch_up = seal


def keeps_no_archive(workspace: Workspace) -> bool:
    """Whether there is a store that has never published into an archive: an earlier version's.

    Raises:
        WorkspaceError: the archive was written by a newer tool.
    """
    has_lines = bool(read_chain(archive_folder(workspace)).lines)
    return not has_lines and workspace.database.is_file() and not store_seals(workspace)


def unsealed_files(workspace: Workspace) -> list[Path]:
    """Files of a publication that stopped before its swap: no line of the index names them.

    None are told where index and store do not agree: then nothing is known to be left over.
    """
    folder = archive_folder(workspace)
    try:
        chain = read_chain(folder)
    except WorkspaceError:  # a newer tool's: it knows what is left over
        return []
    if chain.faults or [line.text for line in store_seals(workspace)] != [
        line.text for line in chain.lines
    ]:
        return []
    sealed = {line.file for line in chain.lines}
    return [path for path in sorted(folder.glob("*.parquet")) if path.name not in sealed]


def store_seals(workspace: Workspace) -> list[Line]:
    """The seals of the published store; none where there is none that can be read."""
    if not workspace.database.is_file():
        return []
    return once_a_file(workspace.database, "seals", lambda: _read_seals(workspace))


def _read_seals(workspace: Workspace) -> list[Line]:
    try:
        con = connect_store(workspace.database, read_only=True)
    except (StorageError, duckdb.Error):  # a damaged store is told of by whoever needs it
        return []
    try:
        return seals(con)
    except duckdb.Error:
        return []
    finally:
        con.close()
