"""A run's beginning and end, put down so that a bad night leaves its trace whatever ends it.

Belongs here: what log, pages and people are told of one run, in which order. Does not belong here:
the form of the log (`pipelines.store.run_log`) or of the note (`page_note`), or who is told
(`notifications`).
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.errors import LimeledgerError, RefusedError, StorageError, WorkspaceError
from pipelines.nightly.page_note import is_in_step, leave_note, put_in_step
from pipelines.store.run_log import (
    Ended,
    Outcome,
    Run,
    end_line,
    is_ended,
    killed,
    read_log,
    run_log,
)
from pipelines.store.storage_faults import storage_fault
from pipelines.workspace.layout import Workspace
from pipelines.workspace.permissions import Readers, private_umask, restrict
from pipelines.workspace.settings import load_settings

INTERRUPTED = 130  # what shells give a command that Ctrl-C ended
FAULT = 70


def settle(folder: Path | str, *, alone: bool = False) -> None:
    """Ends killed runs in the log, and puts the pages' note in step with the log.

    Every command calls it first. It is cheap where there is nothing to do, never fails, and leaves
    what it may not write to whoever comes next. `alone`: see `RunLog.end_killed`.
    """
    with contextlib.suppress(OSError, StorageError, WorkspaceError):
        root = Path(folder)
        lines = read_log(root / "store")
        if is_in_step(root / "published", lines) and not killed(lines, alone=alone):
            return
        workspace = Workspace.open(root)  # no link leads out of it
        with run_log(workspace.store) as log:
            log.end_killed(alone=alone)
            put_in_step(workspace.published, log.tail())


class RecordedRun:
    """One run that has begun; `ends` says how it ended where it raised nothing.

    is_ours: whether whoever holds it puts down its end.
    """

    def __init__(self, workspace: Workspace, run: Run) -> None:
        self.workspace = workspace
        self.run = run
        self.ended: Ended | None = None
        self.is_ours = True

    def ends(self, ended: Ended) -> None:
        """Says how the run ended; the last word counts."""
        self.ended = ended


@contextmanager
def recorded_run(
    workspace: Workspace, run: Run, executed_by: int | None = None
) -> Iterator[RecordedRun]:
    """Puts down the beginning of a run, then its end, and leaves or clears the pages' note.

    An exception ends the run as failed, with the sentence and the exit code that it has. Where
    nothing is said of its end, the run is done. Who comes in with a run that the log has begun
    already gets it as it is, and puts down nothing: the one who began it does.

    `executed_by` is the process that executes the run where this one does but a step of it: the
    first of them begins the run, and it ends only by an error or where `ends` is called.

    What is written meanwhile is for the readers of the settings at the most; what lay there gets
    its mode at the end, whatever it had.

    Raises:
        StorageError, OSError: the log cannot be written; nothing was begun.
    """
    recorded = RecordedRun(workspace, run)
    readers = _readers(workspace)
    with private_umask(readers) if readers else contextlib.nullcontext():
        with run_log(workspace.store) as log:
            log.end_killed()
            # Before this run's own line: till it ends, the pages tell of the one before it.
            put_in_step(workspace.published, log.tail())
            begun = any(line.get("run") == run.run for line in log.tail())
            if not begun:
                log.begin(run, executed_by)
        recorded.is_ours = not begun or executed_by is not None
        if not recorded.is_ours:
            yield recorded
            return
        try:
            yield recorded
        except BaseException as error:
            put_down_end(workspace, recorded.run, recorded.ended or ended_by(error, workspace))
            raise
        else:
            if recorded.ended is not None or executed_by is None:
                put_down_end(workspace, recorded.run, recorded.ended or Ended("done", 0, ""))
        finally:
            if readers:
                restrict(workspace.own_folders, readers)


def _readers(workspace: Workspace) -> Readers | None:
    """Who may read what the tool writes; None where the settings cannot be read."""
    try:
        return load_settings(workspace).readable_by
    except WorkspaceError:
        return None


def ended_by(error: BaseException, workspace: Workspace) -> Ended:
    """How a run ended that an error, or one of ours that Dagster has wrapped, stopped."""
    if not isinstance(error, LimeledgerError) and isinstance(error.__cause__, LimeledgerError):
        error = error.__cause__
    if isinstance(error, KeyboardInterrupt):
        return Ended("failed", INTERRUPTED, "The refresh was stopped by hand.")
    code = error.exit_code if isinstance(error, LimeledgerError) else FAULT
    outcome: Outcome = "refused" if isinstance(error, RefusedError) else "failed"
    return Ended(outcome, code, sentence_of(error, workspace.root))


def sentence_of(error: BaseException, workspace: Path) -> str:
    """What failed, for a person; a fault of the tool is named with its type."""
    if isinstance(error, LimeledgerError):
        return str(error)
    known = storage_fault(error, workspace)
    if known is not None:
        return str(known)
    fault = f"{type(error).__name__}: {error}"
    return f"{fault} (a fault of the tool; the details are in store/limeledger.log)"


def put_down_failed(workspace: Workspace, run: Run, error: BaseException) -> None:
    """Puts down a run that failed, where it has not put down its end itself.

    Dagster finds runs that ended before their first step, or whose process was killed.
    """
    ended = ended_by(error, workspace)
    try:
        with run_log(workspace.store) as log:
            log.end_killed()
            lines = log.tail()
            if not is_ended(lines, run):
                if not any(line.get("run") == run.run for line in lines):
                    log.begin(run)
                log.end(run, ended)
            put_in_step(workspace.published, log.tail())
    except (OSError, StorageError):
        leave_note(workspace.published, end_line(run, ended))


def put_down_end(workspace: Workspace, run: Run, ended: Ended) -> None:
    """Writes a run's end into the log, and the note that follows from it on the pages.

    A run ends once: what another of its steps has put down stands.

    A disk that takes neither is what is being told of: then the next one who looks finds the run
    without its end.
    """
    line = end_line(run, ended)
    try:
        with run_log(workspace.store) as log:
            if is_ended(log.tail(), run):
                return
            line = log.end(run, ended)
    except (OSError, StorageError):
        pass
    leave_note(workspace.published, line)
