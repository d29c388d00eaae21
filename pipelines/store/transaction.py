"""One refresh at work: the lock, a working copy of the store, and the step from old to new.

Belongs here: what makes a refresh all or nothing. Does not belong here: what is computed.

The store is copied, worked on under another name and put in the place of the old one by a rename;
a refresh that is killed leaves a working copy behind, which the next one removes. Readers of the
store and of the published folder see the old state or the new one.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipelines.errors import StorageError, WorkspaceError
from pipelines.store.database import (
    connect,
    drop_table,
    has_table,
    one_row,
    read_frame,
    write_frame,
)
from pipelines.store.deliveries import EXPORT_FILES, delivered, news_of
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.last_refresh import TOUCHED, LastRefresh
from pipelines.store.publication import remove_folder, swap_folder
from pipelines.store.tool import source_hash
from pipelines.workspace.clock import now
from pipelines.workspace.lock import refresh_lock
from schemas.columns import Table, polars_schema
from schemas.decisions import DecisionHistory, Decisions, Findings

STORE_VERSION = 5
MANIFEST = "manifest.json"
CARRIED_OVER = {
    "decision_history": DecisionHistory,
    "decisions": Decisions,
    "findings": Findings,
}
Progress = Callable[[str], None]


class RefreshSession:
    """What the steps of one refresh share: inputs, the open working copy, the staging folder."""

    def __init__(self, inputs: Inputs, progress: Progress) -> None:
        self.inputs = inputs
        self.progress = progress
        self.started = time.monotonic()
        self.decided_at = now().replace(tzinfo=None)
        store = inputs.workspace.store
        self.working = store / "limeledger.duckdb.new"
        self.staging = inputs.workspace.root / "published.new"
        self.beside = ThreadPoolExecutor(max_workers=1)  # writes while the next is worked out
        self.failure: BaseException | None = None
        self.committed = False
        self.watched: Any = None  # what the figures need of the units' histories
        try:
            self.con = self._open_working_copy()
            self.last = LastRefresh.of(self.con)
        except BaseException:
            self.discard_files()  # a full disk may stop the copy itself
            raise
        self.changed_feeds: set[str] = set()  # those with a file that is new, changed or gone

    def _open_working_copy(self) -> duckdb.DuckDBPyConnection:
        self.discard_files()
        self._try_places()
        current = self.inputs.workspace.database
        if current.exists():
            shutil.copyfile(current, self.working)
        con = connect(self.working, write_to=[self.staging], copy_of=current)
        version = _fact(con, "store_version") if has_table(con, "store_facts") else None
        if version is not None and version.isdigit() and int(version) > STORE_VERSION:
            con.close()
            self.discard_files()
            raise WorkspaceError(
                f"{current} is of version {version}, made by a newer tool; this one knows version "
                f"{STORE_VERSION}. Refresh with the newer tool, or move the file away and refresh: "
                "all but the history of decisions is made anew from the exports and the rulings."
            )
        if has_table(con, "store_facts") and version != str(STORE_VERSION):
            # The store holds nothing that the exports and the recorded rulings do not, but for
            # the history of decisions, and what the last ones were, with which it is continued.
            kept = {name: _in_shape(con, name, table) for name, table in CARRIED_OVER.items()}
            con.close()
            self.working.unlink()
            con = connect(self.working, write_to=[self.staging])
            for name, frame in kept.items():
                write_frame(con, name, frame)
        return con

    def _try_places(self) -> None:
        """Finds out before any work whether new pages can be laid beside the old ones."""
        published = self.inputs.workspace.published
        for folder in (self.staging, published.with_name(published.name + ".old")):
            if folder.exists():  # its files would be published among the new ones
                raise StorageError(
                    f"{folder} is left of an earlier refresh and cannot be removed. Remove it, or "
                    "give this user write access to all that is in it, and refresh again; "
                    "nothing was changed."
                )
        self.staging.mkdir()
        self.staging.rmdir()

    @contextmanager
    def step(self, text: str) -> Iterator[None]:
        """One step of the refresh; remembers the first failure."""
        self.progress(text)
        try:
            yield
        except BaseException as error:
            self.failure = self.failure or error
            raise

    def facts(self) -> dict[str, str]:
        """What the store says of itself: version, as-of date, fingerprint of its inputs …"""
        if not has_table(self.con, "store_facts"):
            return {}
        return dict(read_frame(self.con, "store_facts").iter_rows())

    def write_facts(self, **facts: str) -> None:
        """Puts down what the store says of itself."""
        told = self.facts() | {"store_version": str(STORE_VERSION)} | facts
        frame = pl.DataFrame({"fact": list(told), "value": list(told.values())})
        write_frame(self.con, "store_facts", frame.sort("fact"))

    def commit(self) -> None:
        """Puts the staged pages, where there are any, and the working copy in the old ones' place.

        The pages go first. Where a kill falls between the two, the store is still the old one, so
        that the next refresh does the same work again and finds the same things new; the pages'
        manifest, which tells of no store that is there, makes sure that it does.
        """
        self.beside.shutdown()
        drop_table(self.con, TOUCHED)
        self.con.execute("checkpoint")
        self.con.close()
        _sync(self.working)
        published = self.inputs.workspace.published
        staged = self.staging.exists()
        if staged:
            swap_folder(self.staging, published)
        try:
            os.replace(self.working, self.inputs.workspace.database)
        except OSError:
            if staged:
                self._take_pages_back()
            raise
        self.committed = True
        remove_folder(self.staging)

    def _take_pages_back(self) -> None:
        """The old pages stand again, or none where there were none."""
        published = self.inputs.workspace.published
        if not self.staging.exists():
            remove_folder(published)
            return
        try:
            swap_folder(self.staging, published)
        except OSError as error:
            raise StorageError(
                f"{published}: neither could the store be replaced nor these new pages be taken "
                f"back ({error.strerror}). Free some space, or give this user write access to the "
                "workspace, and refresh again: that makes both alike."
            ) from error

    def discard_files(self) -> None:
        """Removes what an interrupted refresh left behind."""
        store = self.inputs.workspace.store
        store.mkdir(parents=True, exist_ok=True)
        for path in (self.working, Path(f"{self.working}.wal")):
            path.unlink(missing_ok=True)
        shutil.rmtree(store / "spill", ignore_errors=True)
        published = self.inputs.workspace.published
        old = published.with_name(published.name + ".old")
        if old.exists() and not published.exists():
            os.replace(old, published)  # killed between the two renames of the slow exchange
        remove_folder(old)
        remove_folder(self.staging)


@contextmanager
def open_session(
    folder: Path | str,
    as_of: str | dt.date | None = None,
    progress: Progress = lambda text: None,
) -> Iterator[RefreshSession]:
    """A refresh from checked inputs to the swap; nothing changes unless all steps succeed.

    The last step, publication, commits. Where it was not reached, because a check stopped the run
    or because somebody ran some of the assets alone, store and pages stay as they were.

    Raises:
        UsageError, WorkspaceError: the call or the workspace is wrong; nothing was written.
        BusyError: another refresh is running.
        StorageError: the disk cannot be written.
    """
    inputs = load_inputs(folder, as_of)
    with refresh_lock(inputs.workspace.store) as left_by:
        if left_by is not None:
            progress(
                f"The refresh of process {left_by.pid} on {left_by.host}, started "
                f"{left_by.since}, did not end; its half-done work is removed."
            )
        session = RefreshSession(inputs, progress)
        try:
            yield session
            if not session.committed:
                progress("Nothing was published: store and pages stay as they were.")
        except BaseException as error:
            session.failure = session.failure or error
            raise
        finally:
            if not session.committed:
                session.beside.shutdown()
                try:
                    session.con.close()
                finally:
                    session.discard_files()


def is_up_to_date(inputs: Inputs) -> bool:
    """Whether store and pages were made from exactly these inputs, exports and as-of date.

    Another version of the tool does all its work again: it may decide or show otherwise.
    """
    workspace = inputs.workspace
    told = published_facts(workspace.published)
    if not workspace.database.exists() or told.get("inputs") != inputs.fingerprint:
        return False
    con = connect(workspace.database, read_only=True)
    try:
        if not has_table(con, "store_facts"):
            return False
        facts = dict(read_frame(con, "store_facts").iter_rows())
        known = read_frame(con, "export_files", schema=EXPORT_FILES)
    finally:
        con.close()
    if facts != told or facts["as_of"] != inputs.as_of.isoformat():
        return False
    if facts["store_version"] != str(STORE_VERSION) or facts.get("tool") != source_hash():
        return False
    files = delivered(inputs)
    news = news_of(files, known)
    return len(files) == known.height and set(news.values()) <= {"unchanged"}


def published_facts(published: Path) -> dict[str, str]:
    """What the published folder says of itself; empty where there is none."""
    try:
        return json.loads((published / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def _fact(con: duckdb.DuckDBPyConnection, name: str) -> str | None:
    row = one_row(con, "select value from store_facts where fact = ?", [name])
    return row[0] if row else None


def _in_shape(con: duckdb.DuckDBPyConnection, name: str, table: type[Table]) -> pl.DataFrame:
    """A table of another version in today's columns; those that it lacks, or has as lists of
    something else, are null."""
    schema = polars_schema(table)
    if not has_table(con, name):
        return schema.to_frame()
    frame = read_frame(con, name)
    of_another_kind = [
        column
        for column, kind in schema.items()
        if kind.is_nested() and frame.schema.get(column, kind) != kind
    ]
    frame = frame.drop(of_another_kind)
    lacking = [pl.lit(None).alias(column) for column in schema if column not in frame.columns]
    return frame.with_columns(lacking).select(schema.names()).cast(dict(schema))


def _sync(path: Path) -> None:
    """Makes sure that the file is on the disk before it takes the old one's name."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
