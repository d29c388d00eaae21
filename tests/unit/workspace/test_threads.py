"""How many threads a process has is settled by what there is to read, before polars looks."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.workspace.threads import ONE_THREAD_BELOW_BYTES, POLARS_THREADS, settle_threads


def exports_of(folder: Path, *sizes: int, name: str = "exports") -> Path:
    """A workspace with one sparse file of each size, the second and later ones further down."""
    for number, size in enumerate(sizes):
        place = folder / name / ("units" if number else ".")
        place.mkdir(parents=True, exist_ok=True)
        with (place / f"{number}.csv").open("wb") as file:
            file.truncate(size)
    return folder


@pytest.fixture
def nobody_said(monkeypatch):
    """No number of threads is there, and what was comes back afterwards."""
    monkeypatch.setenv(POLARS_THREADS, "")
    monkeypatch.delenv(POLARS_THREADS)


@pytest.mark.parametrize(
    ("sizes", "expected"),
    [
        ((), "1"),
        ((0,), "1"),
        ((ONE_THREAD_BELOW_BYTES - 1,), "1"),
        ((ONE_THREAD_BELOW_BYTES,), None),
        ((ONE_THREAD_BELOW_BYTES - 2, 1), "1"),
        ((ONE_THREAD_BELOW_BYTES - 2, 1, 1), None),
    ],
)
def test_one_thread_reads_less_than_the_bound(tmp_path, nobody_said, sizes, expected):
    """All files below exports/ count together; from the bound on polars decides for itself."""
    settle_threads(exports_of(tmp_path, *sizes))
    assert os.environ.get(POLARS_THREADS) == expected


def test_a_folder_in_other_letters_counts(tmp_path, nobody_said):
    """What a workspace takes for its exports is what counts."""
    settle_threads(exports_of(tmp_path, ONE_THREAD_BELOW_BYTES, name="Exports"))
    assert POLARS_THREADS not in os.environ


@pytest.mark.parametrize("size", [1, ONE_THREAD_BELOW_BYTES])
def test_what_the_user_says_stays(tmp_path, monkeypatch, size):
    """A number that is there already is nobody else's to change."""
    monkeypatch.setenv(POLARS_THREADS, "3")
    settle_threads(exports_of(tmp_path, size))
    assert os.environ[POLARS_THREADS] == "3"


@pytest.mark.parametrize("said", ["", "0", "-1", "x", "2.5", "²"])
def test_what_is_no_number_says_nothing(tmp_path, monkeypatch, said):
    """With 0 polars ends in a panic, and of the others it warns on the terminal."""
    monkeypatch.setenv(POLARS_THREADS, said)
    settle_threads(exports_of(tmp_path, 1))
    assert os.environ[POLARS_THREADS] == "1"
    monkeypatch.setenv(POLARS_THREADS, said)
    settle_threads(exports_of(tmp_path / "much", ONE_THREAD_BELOW_BYTES))
    assert POLARS_THREADS not in os.environ


def test_without_a_workspace_there_is_one(tmp_path, nobody_said):
    """`demo` lays out what it reads, and a folder that is not there holds nothing."""
    for workspace in (None, tmp_path / "nowhere"):
        settle_threads(workspace)
        assert os.environ.pop(POLARS_THREADS) == "1"


def test_exports_that_may_not_be_looked_at_are_the_commands_to_tell(
    tmp_path, nobody_said, monkeypatch
):
    """How many threads there are is no place to stop: what reads the exports says it."""

    def refused(path, *_, **__):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "exists", refused)
    settle_threads(exports_of(tmp_path, ONE_THREAD_BELOW_BYTES))
    assert os.environ.pop(POLARS_THREADS) == "1"


ASKED = """
import os, sys
from pathlib import Path
assert "polars" not in sys.modules
{way}
assert "polars" not in sys.modules or {loads}
import polars as pl
from pipelines.store.database import connect
con = connect(Path(sys.argv[1]) / "a.duckdb")
print(pl.thread_pool_size(), con.execute("select current_setting('threads')").fetchone()[0])
"""
BY_COMMAND = """
from pipelines.cli import main
main.module_of = lambda _: command
class command:
    HELP = ""
    add_arguments = staticmethod(lambda parser: parser.add_argument("workspace"))
    run = staticmethod(lambda args: 0)
assert main.main(["refresh", sys.argv[1]]) == 0
"""
BY_DAGSTER = """
os.environ["LIMELEDGER_WORKSPACE"] = sys.argv[1]
import pipelines.orchestration.run_day
"""


@pytest.mark.parametrize(("way", "loads"), [(BY_COMMAND, False), (BY_DAGSTER, True)])
@pytest.mark.parametrize(("size", "is_one"), [(1, True), (ONE_THREAD_BELOW_BYTES, False)])
def test_both_ways_in_settle_it_before_polars_is_there(tmp_path, way, loads, size, is_one):
    """A command and a process of Dagster's give polars and DuckDB the threads of the rule."""
    exports_of(tmp_path, size)
    code = ASKED.format(way=way, loads=loads)
    environment = {k: v for k, v in os.environ.items() if k != POLARS_THREADS}
    asked = [sys.executable, "-c", code, str(tmp_path)]
    said = subprocess.run(asked, capture_output=True, text=True, env=environment, check=True)
    polars, duckdb = map(int, said.stdout.split())
    assert polars == duckdb
    assert (polars == 1) == is_one or (os.cpu_count() or 1) == 1
