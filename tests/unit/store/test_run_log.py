"""Every run begins and ends with a line, and one whose process is gone gets its end later."""

from __future__ import annotations

import json
import multiprocessing
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.store.run_log import (
    ALL,
    FILE,
    Ended,
    Run,
    is_good,
    killed,
    last_whole_run,
    new_run_id,
    read_log,
    run_log,
    unfinished,
)

KEYS = {"run", "event", "at", "as_of", "selection", "by", "outcome", "exit_code", "sentence"}


def _run(selection="all", by="command") -> Run:
    return Run(new_run_id(), "2026-03-31", selection, by)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A store's folder that is not there yet."""
    return tmp_path / "store"


def test_begin_and_end_are_a_line_each(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both lines have every key, and the moment is the one that the clock gives."""
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T02:15:00-06:00")
    run = _run(["decisions", "claims"], "schedule")
    with run_log(store) as log:
        log.begin(run)
        log.end(run, Ended("failed", 70, "The disk\nis full."))
    begin, end = [json.loads(line) for line in (store / FILE).read_text().splitlines()]
    assert begin.keys() >= KEYS
    assert end.keys() >= KEYS
    shared = {
        "run": run.run,
        "at": "2026-03-31T08:15:00+00:00",
        "clock": "given",
        "as_of": "2026-03-31",
        "selection": ["claims", "decisions"],
        "by": "schedule",
    }
    assert begin.items() >= (shared | {"event": "begin", "outcome": None}).items()
    ended = {"event": "end", "outcome": "failed", "exit_code": 70, "sentence": "The disk is full."}
    assert end.items() >= (shared | ended).items()


def test_a_line_that_was_cut_off_swallows_no_other(store: Path) -> None:
    """Half a line at the end is passed over, and the next one stands on a line of its own."""
    first, second = _run(), _run()
    with run_log(store) as log:
        log.begin(first)
    with (store / FILE).open("ab") as file:
        file.write(b'{"run": "' + second.run.encode())
    with run_log(store) as log:
        log.begin(second)
    assert [line["run"] for line in read_log(store)] == [first.run, second.run]


def test_a_long_log_is_read_from_its_end(store: Path) -> None:
    """Only the tail is read: what stands there is whole, and comes in its order."""
    store.mkdir()
    (store / FILE).write_text('{"run": "old", "event": "begin"}\n' * 20_000)
    run = _run()
    with run_log(store) as log:
        log.begin(run)
    lines = read_log(store)
    assert lines[-1]["run"] == run.run
    assert 1 < len(lines) < 20_000


def test_a_killed_run_is_found_before_anybody_asks_for_its_process(store: Path) -> None:
    """A beginning of this process is at work; that of one that was killed is not, even a zombie."""
    mine, other = _run(), _run()
    with run_log(store) as log:
        log.begin(mine)
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from pipelines.store.run_log import Run, run_log\n"
        "run = Run(sys.argv[2], None, 'all', 'sensor')\n"
        "with run_log(Path(sys.argv[1])) as log: log.begin(run)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    process = subprocess.Popen([sys.executable, "-c", code, str(store), other.run])
    os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)  # ended, and not yet asked for
    assert [line["run"] for line in unfinished(read_log(store))] == [mine.run, other.run]
    assert [line["run"] for line in killed(read_log(store))] == [other.run]
    process.wait()
    assert [line["run"] for line in killed(read_log(store))] == [other.run]
    with run_log(store) as log:
        log.end_killed()
        log.end_killed()
    ends = [line for line in read_log(store) if line["event"] == "end"]
    assert [(e["run"], e["outcome"], e["exit_code"], e["by"]) for e in ends] == [
        (other.run, "killed", None, "sensor")
    ]


def test_a_number_that_another_process_took_over_is_no_living_run(store: Path) -> None:
    """The process that has the number now began at another time."""
    with run_log(store) as log:
        log.begin(_run())
    [line] = read_log(store)
    assert killed([line]) == []
    then = line["process"] | {"started": "another-boot/1"}
    assert killed([line | {"process": then}])


def test_of_another_machine_only_the_holder_of_the_lock_knows(store: Path) -> None:
    """It may still run there, or wait for the lock; after an hour and under the lock it is gone."""
    with run_log(store) as log:
        log.begin(_run())
    [line] = read_log(store)
    elsewhere = line | {"process": line["process"] | {"host": "another-machine"}}
    assert killed([elsewhere]) == []
    assert killed([elsewhere], alone=True) == []
    assert killed([elsewhere | {"at": "2020-01-01T00:00:00+00:00"}], alone=True)


def test_what_the_pages_go_by_is_the_last_whole_run_that_found_no_other(store: Path) -> None:
    """Runs of a selection, and those that ended with 3, are no nights."""
    bad, good = _run(), _run()
    with run_log(store) as log:
        for run, ended in (
            (bad, Ended("failed", 2, "wrong")),
            (_run(["claims"]), Ended("done", 0, "")),
            (_run(), Ended("failed", 3, "busy")),
        ):
            log.begin(run)
            log.end(run, ended)
    last = last_whole_run(read_log(store))
    assert last is not None
    assert (last["run"], last["selection"], is_good(last)) == (bad.run, ALL, False)
    with run_log(store) as log:
        log.end(good, Ended("already_current", 1, ""))
    last = last_whole_run(read_log(store))
    assert last is not None
    assert (last["run"], is_good(last)) == (good.run, True)


def _begin_many(store: Path, runs: list[Run]) -> None:
    for run in runs:
        with run_log(store) as log:
            log.begin(run)


def test_lines_of_two_processes_do_not_mix(store: Path) -> None:
    """Two that write at the same time leave whole lines of both."""
    runs = [[_run() for _ in range(40)] for _ in range(2)]
    context = multiprocessing.get_context("spawn")
    processes = [context.Process(target=_begin_many, args=(store, some)) for some in runs]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60)
    text = (store / FILE).read_text().splitlines()
    assert len(text) == 80
    assert sorted(json.loads(line)["run"] for line in text) == sorted(
        run.run for some in runs for run in some
    )
