"""The files of one publication: written beside the store before it is swapped, sealed after it.

Belongs here: writing them, and what is wrong with them. Does not belong here: the index itself
(`chain`), its lines in the store (`seals`), or what stands in the tables (`tables`).
"""

from __future__ import annotations

import os
from pathlib import Path

import duckdb

from pipelines.exports.delivery import sha256_of
from pipelines.store.archive.chain import (
    Fault,
    Line,
    archive_folder,
    faults_of,
    read_chain,
    sync_folder,
)
from pipelines.store.archive.seals import SEALS, seals_frame, store_seals, take_over_seals
from pipelines.store.database import LAST, append_frame, has_table
from pipelines.workspace.layout import Workspace
from schemas.archive import ARCHIVE_TABLES

HISTORY = "decision_history"
KEPT = (*ARCHIVE_TABLES, HISTORY)
_PARQUET = "format parquet, compression zstd, compression_level 1"
# Rows of a group wait in memory, those of decisions with all their findings: of the usual 122,880
# DuckDB's gigabyte is full.
_FEW_ROWS = f"{_PARQUET}, row_group_size 10000"


def file_name(table: str, publication: int) -> str:
    """The name of the file that holds what one publication adds to a table."""
    return f"{table}-{publication:06}.parquet"


def write_files(con: duckdb.DuckDBPyConnection, workspace: Workspace, publication: int) -> None:
    """Writes what a publication adds to each table, synced, and puts its seals into the store.

    `con` is the working copy, in which the tables stand, and the published store as LAST. A file
    of that name that no line of the index names is left of a run that did not come to its end.
    """
    folder = archive_folder(workspace)
    folder.mkdir(parents=True, exist_ok=True)
    chain = read_chain(folder)
    sealed = {line.file for line in chain.lines}
    take_over_seals(con, chain)
    previous = chain.last_digest
    lines = []
    for table in KEPT:
        name = file_name(table, publication)
        if name in sealed:
            raise ValueError(f"{name} is sealed already")
        form = _FEW_ROWS if table == "decision_archive" else _PARQUET
        rows = _write(con, added_rows(con, table, publication), folder / name, form)
        if rows or table == "publications":
            line = Line(publication, name, sha256_of(folder / name), rows, previous)
            lines.append(line)
            previous = line.digest
        else:
            (folder / name).unlink()
    sync_folder(folder)
    append_frame(con, SEALS, seals_frame(lines))


def added_rows(con: duckdb.DuckDBPyConnection, table: str, publication: int) -> str:
    """SQL: the rows that a publication adds to a table."""
    # Decisions were added by claim, those withdrawn last. Sorting lists of whole findings would
    # take more memory than there is.
    if table in ("publications", "decision_archive"):
        return f"select * from {table} where publication = {publication}"
    # Else in the order of all columns, of which the first is a row's own: the others, lists among
    # them, need not be sorted by.
    before = f"{LAST}.{table}" if has_table(con, f"{LAST}.publications") else None
    if before is None or not has_table(con, before):
        first = "row_sha256" if table == "archived_rows" else "all"
        return f"select * from {table} order by {first}"
    if table == HISTORY:
        return f"select * from {table} where publication = {publication} order by claim"
    if table == "archived_files":
        return f"select * from {table} anti join {before} using (sha256, kind, path) order by all"
    return (
        f"select a.* from {table} a left join {before} b using (row_sha256) "
        "where b.row_sha256 is null or a.left_on is distinct from b.left_on order by row_sha256"
    )


def _write(con: duckdb.DuckDBPyConnection, rows: str, path: Path, form: str) -> int:
    quoted = str(path).replace("'", "''")
    path.unlink(missing_ok=True)
    counts = con.execute(f"copy ({rows}) to '{quoted}' ({form})").fetchall()
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    return int(counts[0][0])


def find_faults(workspace: Workspace) -> list[Fault]:
    """What is wrong with the archive, and where it and the store do not agree.

    Raises:
        WorkspaceError: it was written by a newer tool.
    """
    folder = archive_folder(workspace)
    chain = read_chain(folder)
    faults = faults_of(folder, chain)
    known = {line.text for line in chain.lines}
    missing = sorted(
        {line.publication for line in store_seals(workspace) if line.text not in known}
    )
    if missing and not chain.faults:
        faults.append(
            Fault(
                tuple(missing),
                f"{folder} lacks what the store published: {publications_named(missing)}.",
            )
        )
    return faults


def publications_named(numbers: list[int] | tuple[int, ...]) -> str:
    """`publication 3`, or `publications 3, 4 and 7`."""
    texts = [str(number) for number in sorted(set(numbers))]
    if len(texts) == 1:
        return f"publication {texts[0]}"
    return f"publications {', '.join(texts[:-1])} and {texts[-1]}"


def archive_faults(workspace: Workspace) -> list[tuple[str, str]]:
    """What is wrong with the archive, each with its way out, for people.

    Raises:
        WorkspaceError: it was written by a newer tool.
    """
    return [
        (
            fault.sentence,
            f"Restore {archive_folder(workspace)} from a backup; until then what "
            f"{publications_named(fault.publications)} said cannot be proved. Nothing that is "
            "published now is touched by it.",
        )
        for fault in find_faults(workspace)
    ]
