"""The working copy of the store: made from the published one, or left by a run before this one.

Belongs here: opening it, and finding out what of a left one still holds. Does not belong here: what
is written to it, or how it takes the store's place (`pipelines.store.transaction`).

A run that does not reach publication leaves its working copy for the next. It holds beside the
store's tables the schema `working`: from which published store it was made (`base`), and what each
table held when it was put in its place (`contents`), so that a table that somebody changed by hand
is not taken for what it says it is.
"""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

import duckdb

from pipelines.errors import StorageError, WorkspaceError
from pipelines.store.archive.recovery import is_sound, last_store
from pipelines.store.contents import contents_and_rows
from pipelines.store.database import (
    LAST,
    connect,
    drop_table,
    has_table,
    identifier,
    one_row,
    table_names,
)
from pipelines.store.published_state import (
    STORE_STATE,
    PublishedState,
    disagreement,
    mixture,
    state_of,
)
from pipelines.store.same_file import once_a_file
from pipelines.store.states import TABLE_STATES, forget_state, read_states
from pipelines.workspace.layout import Workspace
from pipelines.workspace.tool import source_hash
from schemas.versions import SCHEMA_VERSION

WORKING_FILE = "limeledger.duckdb.new"
STAGING = "published.new"
_HALVES = ("_new", "_merged")  # of tables that were being written


def working_file(workspace: Workspace) -> Path:
    """Where the working copy stands."""
    return workspace.store / WORKING_FILE


def left_copy(workspace: Workspace) -> tuple[duckdb.DuckDBPyConnection | None, dict[str, str]]:
    """The working copy that a run left, where it can be worked on, and what of it cannot be used.

    Returns:
        the open copy, None where there is none or it is of another store or tool; and by table why
        it does not hold what it says.
    """
    path = working_file(workspace)
    if not path.is_file():
        return None, {}
    try:
        con = _connected(workspace)
    except (StorageError, duckdb.Error):
        return None, {}
    try:
        if not has_table(con, "working.base") and _is_finished(con):
            _begin_work(con)  # killed just before it took the store's place
            states = read_states(con)
            for name, (content, _) in contents_and_rows(con, states).items():
                put_contents(con, states[name]["state"], {name: content})
        base = _base(con) if has_table(con, "working.base") else ()
        if base == _base_of(con) and (base[0] is None or not disagreement(con, last=True)):
            _drop_halves(con)
            return con, _distrusted(con)
    except duckdb.Error:
        pass  # damaged: it is made anew from the published store
    con.close()
    return None, {}


def new_copy(workspace: Workspace) -> duckdb.DuckDBPyConnection:
    """A working copy of the published store, in the place of one that a run left.

    It is empty where there is no store yet, or where the store's tables are not to be built upon:
    an earlier version's, or those of a store that does not agree with itself.

    Raises:
        StorageError: the disk is full or the store cannot be read.
        WorkspaceError: the store was made by a newer tool.
    """
    remove_copy(workspace)
    path, current = working_file(workspace), workspace.database
    if is_sound(workspace):
        refuse_newer(workspace)
        half = path.with_name(f"{WORKING_FILE}.copy")
        try:
            shutil.copyfile(current, half)
            half.rename(path)
        except BaseException:
            half.unlink(missing_ok=True)
            raise
    con = _connected(workspace)
    if is_sound(workspace) and disagreement(con, last=True):
        con.close()
        remove_copy(workspace)
        con = _connected(workspace)
    _begin_work(con)
    return con


def _begin_work(con: duckdb.DuckDBPyConnection) -> None:
    """Puts down from which published store the copy is made, and that nothing is made in it yet."""
    con.execute("create schema if not exists working")
    con.execute("create table working.base (publication bigint, state varchar, tool varchar)")
    con.execute("insert into working.base values (?, ?, ?)", list(_base_of(con)))
    con.execute("create table working.contents (name varchar, state varchar, content varchar)")


def _is_finished(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether the copy is all that this tool would publish next, and lacks but the store's name."""
    own, last = state_of(con), state_of(con, last=True)
    if own is None or own.tool != source_hash() or mixture(con):
        return False
    return own.publication > (last.publication if last else 0)


def refuse_newer(workspace: Workspace) -> None:
    """Raises `WorkspaceError` where the published store was made by a newer tool."""
    state = once_a_file(workspace.database, "state", lambda: _own_state(workspace))
    if state is not None and is_newer(state.schema_version):
        raise WorkspaceError(
            f"{workspace.database} is of version {state.schema_version}, made by a newer tool; "
            f"this one knows version {SCHEMA_VERSION}. Refresh with the newer tool, or move "
            "the file away and refresh: it is made anew from the archive, the exports and the "
            "rulings."
        )


def _own_state(workspace: Workspace) -> PublishedState | None:
    with contextlib.closing(connect(workspace.database, read_only=True)) as con:
        return state_of(con)


def is_newer(schema_version: str) -> bool:
    """Whether a store of that version was made by a newer tool than this one."""
    versions = (schema_version.split("."), SCHEMA_VERSION.split("."))
    other, own = ([int(part) if part.isdigit() else 0 for part in one] for one in versions)
    return other > own


def _connected(workspace: Workspace) -> duckdb.DuckDBPyConnection:
    current = workspace.database
    return connect(
        working_file(workspace),
        write_to=[workspace.root / STAGING, workspace.store],
        copy_of=current,
        last=last_store(workspace),
    )


def remove_copy(workspace: Workspace) -> None:
    """Removes the working copy and what stands beside it."""
    for path in workspace.store.glob(f"{WORKING_FILE}*"):
        path.unlink(missing_ok=True)


def put_contents(con: duckdb.DuckDBPyConnection, state: str, contents: Mapping[str, str]) -> None:
    """Puts down what tables hold; belongs into their replacement's transaction.

    What was put down before stays above it: the last row of a table is the one that tells.
    """
    if contents:
        con.execute(
            "insert into working.contents select unnest(?::varchar[]), ?, unnest(?::varchar[])",
            [list(contents), state, list(contents.values())],
        )


def known_content(con: duckdb.DuckDBPyConnection, table: str) -> str | None:
    """What was put down that a table holds; None where this working copy has not made it."""
    row = one_row(
        con,
        "select content from working.contents where name = ? order by rowid desc limit 1",
        [table],
    )
    return row[0] if row else None


def forget_working(con: duckdb.DuckDBPyConnection, known: Collection[str]) -> None:
    """Leaves only the tables of the store: those that are known, and nothing of the work."""
    con.execute("drop schema if exists working cascade")
    for name in table_names(con):
        if name not in known:
            forget_state(con, name)
            drop_table(con, name)


def _base(con: duckdb.DuckDBPyConnection) -> tuple[Any, ...]:
    return one_row(con, "select publication, state, tool from working.base") or ()


def _base_of(con: duckdb.DuckDBPyConnection) -> tuple[Any, ...]:
    """What tells the published store and the tool from all others."""
    last, tool = state_of(con, last=True), source_hash()
    return (last.publication, last.state, tool) if last else (None, None, tool)


def _distrusted(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """The tables of a left copy that do not hold what was put there, by why."""
    rows = con.execute(
        "select name, state, content from working.contents order by rowid"
    ).fetchall()
    put = {name: (state, content) for name, state, content in rows}
    before = read_states(con, f"{LAST}.table_states")
    return dict(_changed(con, put, before))


def _changed(
    con: duckdb.DuckDBPyConnection,
    put: dict[str, tuple[str, str]],
    before: dict[str, dict[str, Any]],
) -> Iterator[tuple[str, str]]:
    by_hand = "was changed by hand in the working copy of the store"
    # Nothing is made from these two.
    said = {n: row for n, row in read_states(con).items() if n not in (TABLE_STATES, STORE_STATE)}
    held = contents_and_rows(con, (name for name in said if has_table(con, name)))
    others = (f"{LAST}.{name}" for name in held if name not in put)
    last = contents_and_rows(con, (name for name in others if has_table(con, name)))
    for name, row in said.items():
        if name not in held:
            yield name, "is missing from the working copy of the store"
        elif name in put:
            if put[name] != (row["state"], held[name][0]):
                yield name, by_hand
        elif row != before.get(name) or held[name] != last.get(f"{LAST}.{name}"):
            yield name, by_hand


def _drop_halves(con: duckdb.DuckDBPyConnection) -> None:
    """Removes what was being written when a run was killed."""
    for name in table_names(con):
        if name.endswith(_HALVES):
            con.execute(f"drop table {identifier(name)}")
