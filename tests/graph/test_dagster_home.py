"""Dagster's folder of another version: brought to this one, or told in a sentence."""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import warnings
from contextlib import closing
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.cli import dagster as command
from pipelines.cli.dagster import dagster_home
from pipelines.errors import WorkspaceError
from pipelines.workspace.layout import Workspace

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
OLD_REVISION = "7e2f3204cf8e"  # one of Dagster's SQLite storage, before its newest

HAS_REVISION = "select name from sqlite_master where name = 'alembic_version'"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """The folder of a workspace, as Dagster leaves it."""
    workspace = shutil.copytree(CASES, tmp_path / "workspace")
    folder = dagster_home(Workspace.open(workspace))
    with dg.DagsterInstance.from_config(str(folder)) as instance:
        assert instance.get_runs() == []
    return folder


def start(home: Path, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Calls `limeledger dagster`, and returns what it would have started."""
    started: list[list[str]] = []
    monkeypatch.setattr(
        command.subprocess, "call", lambda line, **_: started.append(line) or len(started) - 1
    )
    root = home.parents[1]
    args = argparse.Namespace(workspace=str(root), port=3000, no_page=True)
    assert command.run(args) == 0
    return started


def stamp(home: Path, revision: str) -> list[Path]:
    """Says of every database in the folder that it is of that revision."""
    found = []
    for path in home.rglob("*.db"):
        with closing(sqlite3.connect(path)) as con, con:
            if con.execute(
                "select name from sqlite_master where name = 'alembic_version'"
            ).fetchall():
                con.execute("update alembic_version set version_num = ?", [revision])
                found.append(path)
    return found


def revisions(home: Path) -> set[str]:
    """The revisions that the databases in the folder say they are of."""
    found = set()
    for path in home.rglob("*.db"):
        with closing(sqlite3.connect(path)) as con:
            if con.execute(
                "select name from sqlite_master where name = 'alembic_version'"
            ).fetchall():
                found |= set(con.execute("select version_num from alembic_version").fetchall()[0])
    return found


def test_a_folder_of_an_older_version_is_brought_to_this_one(home, monkeypatch) -> None:
    """The daemon starts on it, and Dagster's own check finds the newest revision."""
    [newest] = revisions(home)
    assert len(stamp(home, OLD_REVISION)) >= 2
    assert len(start(home, monkeypatch)) == 1
    assert revisions(home) == {newest}


def test_a_folder_of_a_newer_version_is_told(home, monkeypatch) -> None:
    """One sentence with the way out, which loses nothing of ours; the folder stays as it is."""
    stamp(home, "ffffffffffff")
    with pytest.raises(WorkspaceError, match="Move the folder away") as told:
        start(home, monkeypatch)
    assert "\n" not in str(told.value)
    assert revisions(home) == {"ffffffffffff"}


def test_a_damaged_folder_is_told(home, monkeypatch) -> None:
    """A database that is none is no traceback."""
    for path in home.rglob("*.db*"):
        path.write_text("no database" * 100)
    with pytest.raises(WorkspaceError, match="Move the folder away"):
        start(home, monkeypatch)
