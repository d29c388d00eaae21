"""One refresh at a time, and a killed one does not stand in the way."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.errors import BusyError, StorageError
from pipelines.workspace.lock import LOCK_FILE, no_refresh_meanwhile, refresh_lock

HOLDS = """
import sys, pathlib
from pipelines.workspace.lock import refresh_lock
with refresh_lock(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def start_holder(store: Path) -> subprocess.Popen:
    """Another process that holds the lock until its input ends."""
    root = Path(__file__).parents[3]
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(store)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(root)},
    )
    assert process.stdout.readline() == "held\n"
    return process


def test_the_lock_is_free_again_afterwards(tmp_path: Path):
    """The store is made where it is missing, and nothing is left in the lock file."""
    store = tmp_path / "store"
    for _ in range(2):
        with refresh_lock(store) as left_by:
            assert left_by is None
            held = json.loads((store / LOCK_FILE).read_text())
            assert held["pid"] == os.getpid()
    assert (store / LOCK_FILE).read_text() == ""


def test_a_second_refresh_is_told_who_holds_it(tmp_path: Path):
    """The sentence names process, host and start, and the exit code is 3."""
    holder = start_holder(tmp_path)
    try:
        with pytest.raises(BusyError) as caught, refresh_lock(tmp_path):
            pass
    finally:
        holder.communicate("")
    told = str(caught.value)
    assert caught.value.exit_code == 3
    assert f"another refresh of this workspace is running (process {holder.pid} on " in told
    assert ", since 20" in told
    assert "Wait until it has ended, then try again." in told


def test_a_killed_refresh_frees_the_lock_and_is_named(tmp_path: Path):
    """The system frees the lock of a dead process; its name is still in the file."""
    holder = start_holder(tmp_path)
    holder.kill()
    holder.communicate()
    with refresh_lock(tmp_path) as left_by:
        assert left_by is not None
        assert left_by.pid == holder.pid
    with refresh_lock(tmp_path) as left_by:
        assert left_by is None


def test_the_lock_is_freed_by_an_error(tmp_path: Path):
    """A refresh that fails leaves the lock free."""
    with pytest.raises(ZeroDivisionError), refresh_lock(tmp_path):
        raise ZeroDivisionError
    with refresh_lock(tmp_path) as left_by:
        assert left_by is None


def test_a_lock_file_of_rubbish_is_taken_over(tmp_path: Path):
    """A file that names nobody is no holder."""
    (tmp_path / LOCK_FILE).write_bytes(b"\x00\xff{[")
    with refresh_lock(tmp_path) as left_by:
        assert left_by is None


def test_a_store_that_cannot_be_written(tmp_path: Path):
    """A file where the folder should be ends in one sentence, not a traceback."""
    (tmp_path / "store").touch()
    with pytest.raises(StorageError) as caught, refresh_lock(tmp_path / "store"):
        pass
    assert "refresh.lock cannot be written" in str(caught.value)
    assert caught.value.exit_code == 70


def test_a_store_that_the_lock_makes_lets_nobody_else_in(tmp_path: Path) -> None:
    """A backup of a workspace that was never refreshed makes it, before anything sets modes."""
    before = os.umask(0o022)
    try:
        with refresh_lock(tmp_path / "store"):
            pass
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "store").stat().st_mode) == 0o750
    assert stat.S_IMODE((tmp_path / "store" / LOCK_FILE).stat().st_mode) == 0o640


def test_who_only_reads_locks_the_file_as_it_lies(tmp_path, monkeypatch):
    """Where nothing can be written a refresh is kept away all the same, and none is disturbed."""
    with refresh_lock(tmp_path):
        pass
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with no_refresh_meanwhile(tmp_path), pytest.raises(BusyError), refresh_lock(tmp_path):
        pass
    with refresh_lock(tmp_path):
        holder = (tmp_path / LOCK_FILE).read_text()
        with (
            pytest.raises(BusyError, match=f"process {os.getpid()}"),
            no_refresh_meanwhile(tmp_path),
        ):
            pass
        assert (tmp_path / LOCK_FILE).read_text() == holder
