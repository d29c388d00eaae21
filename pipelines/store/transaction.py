"""One run at work: the lock, the working copy of the store, and the step from old to new.

Belongs here: what makes a run all or nothing, and what keeps each table with its state. Does not
belong here: what is computed.

Tables are made in a working copy. Publication puts it in the place of the store by a rename; a run
that does not come so far leaves it for the next. Readers of the store and of the published folder
see the old state or the new one.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipelines.engine.engines import engine_of, refuse_without_extra
from pipelines.errors import WorkspaceError
from pipelines.store import swap
from pipelines.store.archive.recovery import (
    forget_recovered,
    is_sound,
    lacking_in_store,
    recover,
)
from pipelines.store.archive.seals import catch_up, keeps_no_archive, seal
from pipelines.store.archive.tables import next_publication
from pipelines.store.contents import contents_and_rows
from pipelines.store.database import (
    connect,
    table_names,
    write_frame,
)
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.last import Last, moment_of_its_own
from pipelines.store.published_state import STORE_STATE, PublishedState, disagreement, is_of
from pipelines.store.states import (
    TABLE_STATES,
    RunState,
    count_states,
    difference,
    forget_absent,
    forget_state,
    put_states,
    read_states,
    run_state,
)
from pipelines.store.table_writer import TableWriter
from pipelines.store.working_copy import (
    forget_working,
    known_content,
    left_copy,
    new_copy,
    put_contents,
    refuse_newer,
    working_file,
)
from pipelines.workspace.clock import now
from pipelines.workspace.lock import refresh_lock
from pipelines.workspace.permissions import restrict
from pipelines.workspace.settings import today
from schemas.columns import Table, polars_schema
from schemas.states import INPUT_KINDS, StoreState
from schemas.versions import SCHEMA_VERSION

Progress = Callable[[str], None]


class RefreshSession:
    """What the steps of one run share: inputs, their state, the working copy, the staging folder.

    Nothing is written before a step asks for `con`. `known` are the tables of the store: what else
    stands in the working copy is not published.
    """

    def __init__(
        self,
        inputs: Inputs,
        state: RunState,
        progress: Progress,
        run: str = "command",
        known: Collection[str] = (),
    ) -> None:
        self.inputs = inputs
        self.state = state
        self.progress = progress
        self.run = run
        self.known = frozenset(known)
        self.started = time.monotonic()
        self._opened_at = now().replace(tzinfo=None)
        self.staging = swap.staging(inputs.workspace)
        self.engine = engine_of(inputs.workspace, inputs.settings, state.tool, progress)
        self.beside = ThreadPoolExecutor(max_workers=1)  # writes while the next is worked out
        self.failure: BaseException | None = None
        self.committed = False
        self.is_published = False  # store and pages are of this run's inputs
        self._begun = False
        self._last: Last | None = None
        self._con: duckdb.DuckDBPyConnection | None = None
        self._view: duckdb.DuckDBPyConnection | None = None  # of the store, while nothing is made
        self._distrusted: dict[str, str] = {}  # tables that are not what they say, by why
        self._cases: dict[str, list[str]] = {}
        self._tables: dict[str, dict[str, Any] | None] | None = None
        self._look()

    def _look(self) -> None:
        """Finds what stands there already: the published store, or what a run left."""
        workspace = self.inputs.workspace
        if is_sound(workspace):
            refuse_newer(workspace)
            self._view = connect(workspace.database, read_only=True)
            if is_of(self._view, workspace.published, self.state):
                self.is_published = True
                return
        if working_file(workspace).is_file():
            self.close_view()  # a left copy is opened with the store beside it
            self._con, self._distrusted = left_copy(workspace)
            if self._con is None and is_sound(workspace):
                self._view = connect(workspace.database, read_only=True)
        if self._view is not None and disagreement(self._view):
            self.close_view()  # nothing is built upon it, and every table made anew

    @property
    def con(self) -> duckdb.DuckDBPyConnection:
        """The working copy, which is made where there is none to go on with."""
        if not self._begun:
            self.close_view()
            swap.remove_left_pages(self.inputs.workspace)
            if self._con is None:
                self._con = new_copy(self.inputs.workspace)
            self._begun = True
        assert self._con is not None, "the session is closed"
        return self._con

    @property
    def last(self) -> Last:
        """The published store, as this run finds it."""
        if self._last is None:
            self._last = Last.of(self.con)
        return self._last

    @cached_property
    def decided_at(self) -> dt.datetime:
        """When this run decides, UTC without zone: what it adds to the history, and to no other."""
        return moment_of_its_own(self.con, self._opened_at)

    def close_view(self) -> None:
        """Lets go of the published store."""
        if self._view is not None:
            self._view.close()
            self._view = None

    @property
    def reader(self) -> duckdb.DuckDBPyConnection | None:
        """Where tables are read without making anything; None where nothing was ever made."""
        return self._con or self._view

    def readable(self) -> duckdb.DuckDBPyConnection:
        """Where the tables of this run can be read."""
        con = self.reader
        assert con is not None, "nothing was ever made"
        return con

    def content(self, table: str) -> str | None:
        """What stands for the rows of a table, where the working copy knows it."""
        return known_content(self._con, table) if self._con is not None else None

    # What a table is of

    def fault(self, table: str) -> str | None:
        """Why a table is not of this run's inputs, in words; None where it is."""
        if table in self._distrusted:
            return self._distrusted[table]
        if table not in self._standing():
            return "is not there"
        row = self._standing()[table]
        if row is not None and row["state"] == self.state.state:
            return None
        return difference(row, self.state)

    def day_of(self, table: str) -> dt.date | None:
        """The other day as of which a table is, where nothing but the day differs."""
        row = self._standing().get(table)
        if row is None or table in self._distrusted or row["tool"] != self.state.tool:
            return None
        is_same = all(row[kind] == getattr(self.state, kind) for kind in INPUT_KINDS)
        return row["as_of"] if is_same else None

    def can_continue(self, tables: Collection[str]) -> bool:
        """Whether these tables of the working copy hold what was put there, of whatever state."""
        known = read_states(self.con)
        return all(table in known and table not in self._distrusted for table in tables)

    def _standing(self) -> dict[str, dict[str, Any] | None]:
        """The tables that are there, each with its row of `table_states` where it has one."""
        if self._tables is None:
            con = self.reader
            rows = read_states(con) if con is not None else {}
            names = table_names(con) if con is not None else []
            self._tables = {name: rows.get(name) for name in names}
        return self._tables

    def refuse_changed_inputs(self) -> None:
        """Raises `WorkspaceError` where an input is no longer what this run has read."""
        try:
            inputs = self.inputs  # what people record meanwhile is the next run's
            lying = run_state(load_inputs(inputs.workspace.root, inputs.as_of, inputs.recorded))
        except WorkspaceError as error:
            raise WorkspaceError(f"While the run was at work: {error}", *error.faults[1:]) from None
        other = [
            words
            for kind, words in INPUT_KINDS.items()
            if getattr(lying, kind) != getattr(self.state, kind)
        ]
        if other:
            raise WorkspaceError(
                f"While the run was at work, {' and '.join(other)} changed; nothing was published. "
                "Run it again: it then reads what lies there now."
            )

    # What a step does

    @contextmanager
    def step(self, text: str) -> Iterator[None]:
        """One step of the refresh; remembers the first failure."""
        self.progress(text)
        try:
            yield
        except BaseException as error:
            self.failure = self.failure or error
            raise

    def writer(self, name: str, table: type[Table] | None = None) -> TableWriter:
        """Writes a table part by part, for `put`."""
        return TableWriter(self.con, self.beside, name, table)

    def write(
        self, name: str, frame: pl.DataFrame, table: type[Table] | None = None
    ) -> TableWriter:
        """A table of one part, for `put`."""
        writer = self.writer(name, table)
        writer.add(frame)
        return writer

    def put(self, *writers: TableWriter) -> None:
        """Puts tables in their place, each with its state, all in one transaction.

        A table that does not fit its class is put there without a state: nothing goes on from it.
        """
        for writer in writers:
            writer.finish()
        with self.transaction() as con:
            for writer in writers:
                writer.put_in_place()
                self._cases[writer.name] = writer.cases
                if writer.cases:
                    forget_state(con, writer.name)
                    self._distrusted[writer.name] = "does not fit its schema"
            self.put_states([writer.name for writer in writers if not writer.cases])

    def cases(self, table: str) -> list[str]:
        """Where a table that this run has made does not fit its class; empty where it does."""
        return self._cases.get(table, [])

    @contextmanager
    def transaction(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """All or nothing of what is done to the working copy within."""
        con = self.con
        con.execute("begin")
        try:
            yield con
        except BaseException:
            con.execute("rollback")
            raise
        con.execute("commit")
        self._tables = None

    def put_states(self, tables: Collection[str]) -> None:
        """Puts down that tables are now of this run's state; within their `transaction`."""
        held = contents_and_rows(self.con, tables)
        rows = {table: rows for table, (_, rows) in held.items()}
        put_states(self.con, rows, self.state, self.run)
        contents = {table: content for table, (content, _) in held.items()}
        put_contents(self.con, self.state.state, contents)
        for table in tables:
            self._distrusted.pop(table, None)

    def distrust(self, table: str, why: str) -> None:
        """Takes its state from a table that did not pass a check."""
        self._distrusted[table] = why
        with self.transaction() as con:
            forget_state(con, table)

    def put_table_states(self) -> None:
        """Leaves in `table_states` what is there, and puts down that it is of this run's state."""
        with self.transaction() as con:
            forget_absent(con)
            put_states(con, {TABLE_STATES: 0}, self.state, self.run)
            count_states(con)

    # From old to new

    def publication(self, decided_at: dt.datetime | None) -> PublishedState:
        """What store and pages will say of themselves."""
        digests = {name: getattr(self.state, name) for name in INPUT_KINDS}
        return PublishedState(
            state=self.state.state,
            as_of=self.state.as_of,
            publication=next_publication(self.con),
            run=self.run,
            published_at=now().replace(tzinfo=None),
            decided_at=decided_at,
            tool_version=self.state.tool_version,
            tool=self.state.tool,
            schema_version=SCHEMA_VERSION,
            **digests,
        )

    def put_publication(self, published: PublishedState) -> None:
        """Puts down what the store says of itself."""
        row = {name: getattr(published, name) for name in polars_schema(StoreState)}
        with self.transaction() as con:
            write_frame(con, STORE_STATE, pl.DataFrame([row], schema=polars_schema(StoreState)))
            self.put_states([STORE_STATE])
            count_states(con)

    def commit(self) -> None:
        """Puts the staged pages and the working copy in the old ones' place.

        Raises:
            WorkspaceError: an input has changed since it was read; nothing was published.
        """
        self.refuse_changed_inputs()
        self.beside.shutdown()
        forget_working(self.con, self.known)
        self.con.execute("checkpoint")
        self.con.close()
        self._con = None
        # Files that are taken over from the last pages keep the mode that they had there.
        restrict([self.staging], self.inputs.settings.readable_by)
        swap.swap_in(self.inputs.workspace)
        self.committed = self.is_published = True
        self.engine.published()
        seal(self.inputs.workspace)
        forget_recovered(self.inputs.workspace)
        self._view = connect(self.inputs.workspace.database, read_only=True)
        swap.remove_left_pages(self.inputs.workspace)

    def close(self) -> None:
        """Lets go of everything; the working copy stays for the next run."""
        self.beside.shutdown()
        self.engine.close()
        self.close_view()
        try:
            if self._con is not None:
                self._con.close()
                self._con = None
        finally:
            if not self.committed:
                swap.remove_staged(self.inputs.workspace)


@contextmanager
def open_session(
    folder: Path | str,
    as_of: str | dt.date | None = None,
    progress: Progress = lambda text: None,
    run: str = "command",
    known: Collection[str] = (),
) -> Iterator[RefreshSession]:
    """A run from checked inputs to the swap; nothing changes unless publication is reached.

    Raises:
        UsageError, WorkspaceError: the call or the workspace is wrong; nothing was written.
        BusyError: another refresh is running.
        StorageError: the disk cannot be written.
    """
    inputs = load_inputs(folder, as_of)
    refuse_without_extra(inputs.settings)
    # An archive of a newer tool ends here; a damaged store does not say what it kept.
    if keeps_no_archive(inputs.workspace) and is_sound(inputs.workspace):
        progress(
            "The store was made by a version that kept no archive: its history stays as it is, "
            f"and decisions can be told again from {today(inputs.settings)} on."
        )
    with refresh_lock(inputs.workspace.store) as left_by:
        if left_by is not None:
            progress(
                f"The refresh of process {left_by.pid} on {left_by.host}, started "
                f"{left_by.since}, did not end; this one makes good what it left."
            )
        catch_up(inputs.workspace)
        if (lost := recover(inputs.workspace)) is not None:
            missing = lacking_in_store(inputs.workspace)
            fault = "The store is older than its archive" if missing else "No whole store is there"
            progress(f"{fault}. {lost.advice(inputs.workspace)}")
        session = RefreshSession(inputs, run_state(inputs), progress, run, known)
        try:
            yield session
        except BaseException as error:
            session.failure = session.failure or error
            raise
        finally:
            session.close()
