"""store/runs.jsonl: every run begins and ends with a line.

Belongs here: the lines, and which run is without its end though its process is gone. Does not
belong here: what follows for the pages (`pipelines.nightly.page_note`), or what a run does.

A line has `run`, `event` (begin | end), `at` (UTC), `clock`, `as_of`, `selection` (all, or the
assets), `by`, and, where the run has ended, `outcome`, `exit_code` and `sentence`; the beginning
also names the process. A run that was killed gets its end from whoever looks next.
"""

from __future__ import annotations

import datetime as dt
import os
import socket
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pipelines.errors import StorageError
from pipelines.workspace.clock import clock, now, stamp
from pipelines.workspace.json_lines import JsonLines, held, read_tail

FILE = "runs.jsonl"
ALL = "all"
SENTENCE_CHARS = 2_000
# Enough for hundreds of runs, and read in a millisecond: every command looks at it.
TAIL_BYTES = 1 << 18
LONGEST_WAIT_HOURS = 1.0  # for another refresh; Dagster's runs wait half as long

Line = dict[str, Any]
By = Literal["command", "schedule", "sensor", "dagster"]
Outcome = Literal["done", "already_current", "refused", "failed", "killed"]


@dataclass(frozen=True)
class Run:
    """One execution: its id (Dagster's, where it has one), what it was asked for, and by whom.

    `as_of` is YYYY-MM-DD, or None where the settings that would say it cannot be read.
    `selection` is `all`, or the names of the assets.
    """

    run: str
    as_of: str | None
    selection: Literal["all"] | Sequence[str]
    by: By


@dataclass(frozen=True)
class Ended:
    """How a run ended; `exit_code` is None of a killed one, whose signal nobody saw."""

    outcome: Outcome
    exit_code: int | None
    sentence: str


def new_run_id() -> str:
    """An id in the form of Dagster's own."""
    return str(uuid.uuid4())


class RunLog:
    """The log of one workspace, held so that nobody else writes into it meanwhile."""

    def __init__(self, lines: JsonLines) -> None:
        self._lines = lines

    def tail(self) -> list[Line]:
        """The latest lines, in their order."""
        return self._lines.tail(TAIL_BYTES)

    def begin(self, run: Run, process: int | None = None) -> None:
        """Puts down that a run begins, in this process unless another is named (0: not known).

        Raises:
            OSError: the disk is full or cannot be written.
        """
        pid = os.getpid() if process is None else process
        who = {"pid": pid, "host": socket.gethostname(), "started": _started(pid)}
        self._lines.append(_line(run, "begin") | {"process": who})

    def end(self, run: Run, ended: Ended) -> Line:
        """Puts down how a run ended; returns the line.

        Raises:
            OSError: the disk is full or cannot be written.
        """
        line = end_line(run, ended)
        self._lines.append(line)
        return line

    def end_killed(self, *, alone: bool = False) -> None:
        """Puts down the end of every run whose process is gone without a word.

        Whoever holds the refresh lock is `alone`: then a run of another machine, too, has been
        killed, unless it began so lately that it may be waiting for that lock.
        """
        for line in killed(self.tail(), alone=alone):
            who = line.get("process") or {}
            self.end(
                run_of(line),
                Ended(
                    "killed",
                    None,
                    f"The refresh that began at {line.get('at')} (process {who.get('pid')} on "
                    f"{who.get('host')}) did not end: it was killed, or its machine went down.",
                ),
            )


@contextmanager
def run_log(store: Path) -> Iterator[RunLog]:
    """The log of the workspace whose store this is, to write into; makes both where missing.

    Raises:
        StorageError: the store's folder cannot be made.
        OSError: the log cannot be written.
    """
    try:
        store.mkdir(parents=True, exist_ok=True, mode=0o750)
    except OSError as error:
        raise StorageError(
            f"{store} cannot be written ({error.strerror or error}); free space on the disk or "
            "give write permission, then try again. Nothing was changed."
        ) from None
    with held(store / FILE) as lines:
        yield RunLog(lines)


def read_log(store: Path) -> list[Line]:
    """The latest lines; none where there is no log."""
    return read_tail(store / FILE, TAIL_BYTES)


def killed(lines: Sequence[Line], *, alone: bool = False) -> list[Line]:
    """The beginnings that have no end, and whose process is gone; see `RunLog.end_killed`."""
    return [line for line in unfinished(lines) if _is_gone(line, alone)]


def unfinished(lines: Sequence[Line]) -> list[Line]:
    """The beginnings that have no end, in their order."""
    ended = {line.get("run") for line in lines if line.get("event") == "end"}
    begun = {
        line["run"]: line
        for line in lines
        if line.get("event") == "begin" and isinstance(line.get("run"), str)
    }
    return [line for run, line in begun.items() if run not in ended]


def is_ended(lines: Sequence[Line], run: Run) -> bool:
    """Whether a run has its end already."""
    return any(line.get("run") == run.run and line.get("event") == "end" for line in lines)


def last_whole_run(lines: Sequence[Line]) -> Line | None:
    """The end of the last whole run, but for those that found another one running."""
    ends = [line for line in lines if is_night(line)]
    return ends[-1] if ends else None


def is_good(line: Line) -> bool:
    """Whether an end is that of a run that did its work, or had none to do."""
    return line.get("exit_code") in (0, 1) and line.get("outcome") in ("done", "already_current")


def run_of(line: Line) -> Run:
    """The run that a line speaks of."""
    return Run(
        line["run"], line.get("as_of"), line.get("selection", ALL), line.get("by", "command")
    )


def end_line(run: Run, ended: Ended) -> Line:
    """The line with which a run ends."""
    return _line(run, "end") | {
        "outcome": ended.outcome,
        "exit_code": ended.exit_code,
        "sentence": " ".join(ended.sentence.split())[:SENTENCE_CHARS],
    }


def is_night(line: Line) -> bool:
    """Whether a line is the end of a whole run that did not merely find another one running (3)."""
    return (
        line.get("event") == "end" and line.get("selection") == ALL and line.get("exit_code") != 3
    )


def _line(run: Run, event: str) -> Line:
    chosen = run.selection if run.selection == ALL else sorted(run.selection)
    return {
        "run": run.run,
        "event": event,
        "at": stamp(),
        "clock": clock(),
        "as_of": run.as_of,
        "selection": chosen,
        "by": run.by,
        "outcome": None,
        "exit_code": None,
        "sentence": None,
    }


def _is_gone(line: Line, alone: bool) -> bool:
    """Whether the process that a beginning names lives no more."""
    who = line.get("process")
    if not isinstance(who, dict) or not isinstance(pid := who.get("pid"), int) or pid <= 0:
        return False
    if who.get("host") != socket.gethostname():
        return alone and _hours_since(line.get("at")) > LONGEST_WAIT_HOURS
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except OSError:
        pass  # somebody else's process, which may have taken over the number
    present, then = _started(pid), who.get("started")
    return present is not None and then is not None and present != then


def _started(pid: int) -> str | None:
    """When a process began, in the kernel's own count since its start; None where not to be had.

    With it a number that another process got later is told apart (proc(5), `stat`: field 22).
    """
    try:
        process_stat = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return None
    after_name = process_stat.rpartition(")")[2].split()
    # One that has ended and that nobody has asked for yet (Z) runs no more.
    return "ended" if after_name[0] == "Z" else f"{boot}/{after_name[19]}"


def _hours_since(moment: object) -> float:
    try:
        return (now() - dt.datetime.fromisoformat(str(moment))).total_seconds() / 3600
    except (ValueError, TypeError):
        return 0.0
