"""One table of the store, for commands that only look.

Belongs here: opening the store to read. Does not belong here: writing anything.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipelines.errors import WorkspaceError
from pipelines.store.archive.recovery import was_published
from pipelines.store.database import connect, has_table, read_frame
from pipelines.store.published_state import PublishedState, state_of
from pipelines.workspace.layout import Workspace
from pipelines.workspace.tool import source_hash


@dataclass
class _Opened:
    """A store that this process has open: which file it is, how many read from it, and what it
    says of itself, which is asked several times a request and does not change."""

    file: tuple[int, ...]
    con: duckdb.DuckDBPyConnection
    readers: int = 0
    state: PublishedState | None = None


# DuckDB opens a file once a process and refuses a second time with settings of its own.
_OPENED: dict[Path, _Opened] = {}
_CHANGED = threading.Condition()
_KEPT: set[Path] = set()
_MINE = threading.local()


@contextmanager
def open_store(workspace: Workspace) -> Iterator[duckdb.DuckDBPyConnection]:
    """The store, to read from, also by several threads at a time.

    A refresh that puts another store in its place is taken up once nobody in this process reads
    from the old one; a thread that reads from it goes on with it.

    Raises:
        WorkspaceError: nothing has been refreshed yet.
    """
    opened, is_mine = _take(workspace)
    con = opened.con.cursor()
    try:
        yield con
    finally:
        con.close()
        if is_mine:
            _give_back(workspace.database, opened)


@contextmanager
def kept_open(workspace: Workspace) -> Iterator[None]:
    """Keeps the store open between readers, for a program that reads from it all day."""
    _KEPT.add(workspace.database)
    try:
        yield
    finally:
        _KEPT.discard(workspace.database)
        with _CHANGED:
            opened = _OPENED.get(workspace.database)
            if opened is not None and not opened.readers:
                _close(workspace.database)


def _take(workspace: Workspace) -> tuple[_Opened, bool]:
    """The open store, and whether this thread has to give it back."""
    path, mine = workspace.database, _of_thread()
    if path in mine:
        return mine[path], False
    with _CHANGED:
        while True:
            file = _file(workspace)
            opened = _OPENED.get(path)
            if opened is not None and opened.file != file:
                if opened.readers:
                    _CHANGED.wait(timeout=1)
                    continue
                _close(path)
                opened = None
            if opened is None:
                opened = _OPENED[path] = _Opened(file, connect(path, read_only=True))
            opened.readers += 1
            mine[path] = opened
            return opened, True


def _give_back(path: Path, opened: _Opened) -> None:
    del _of_thread()[path]
    with _CHANGED:
        opened.readers -= 1
        if not opened.readers and path not in _KEPT:
            _close(path)
        _CHANGED.notify_all()


def _close(path: Path) -> None:
    _OPENED.pop(path).con.close()


def _of_thread() -> dict[Path, _Opened]:
    """What this thread reads from, so that what it calls reads from the same."""
    opened: dict[Path, _Opened] = _MINE.__dict__.setdefault("opened", {})
    return opened


def _file(workspace: Workspace) -> tuple[int, ...]:
    try:
        status = workspace.database.stat()
    except OSError:
        if was_published(workspace):
            raise WorkspaceError(
                f"{workspace.database} is missing; `limeledger doctor {workspace.root}` says what "
                f"is lost, and `limeledger refresh {workspace.root}` makes it anew."
            ) from None
        raise WorkspaceError(
            f"{workspace.root}: nothing has been decided here yet; "
            f"run `limeledger refresh {workspace.root}` first."
        ) from None
    return status.st_dev, status.st_ino, status.st_mtime_ns, status.st_size


def published_state(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> PublishedState:
    """What the store says of itself, where this very tool refreshed it last.

    Raises:
        WorkspaceError: another version of the tool did, whose tables may hold other things.
    """
    opened = _of_thread().get(workspace.database)
    state = opened.state if opened is not None else None
    if state is None:
        state = state_of(con)
        if opened is not None:
            opened.state = state
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
