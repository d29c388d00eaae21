"""A named pipe where a file should be: whoever opened it would wait for ever."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.errors import WorkspaceError
from pipelines.terms import load_terms
from pipelines.workspace.layout import Workspace

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"


@pytest.fixture(autouse=True)
def no_wait() -> Iterator[None]:
    """What waits is ended."""

    def end(*_: object) -> None:
        raise TimeoutError("it waits for a pipe")

    before = signal.signal(signal.SIGALRM, end)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A workspace with the folders that it may have."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    for name in ("mappings", "letters", "store/archive", "desk", "published/assets"):
        (folder / name).mkdir(parents=True)
    return folder


@pytest.mark.parametrize(
    "place",
    [
        "reference/models.csv",
        "mappings/lab.toml",
        "letters/letter.txt.j2",
        "store/limeledger.duckdb",
        "store/runs.jsonl",
        "store/refresh.lock",
        "store/archive/index.jsonl",
        "desk/desk.sqlite",
        "published/manifest.json",
        "published/assets/status.js",
    ],
)
def test_a_pipe_is_named_at_once(
    folder: Path, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also where every command looks first, for what a killed refresh left untold."""
    (folder / "store" / "runs.jsonl").write_text('{"event": "end", "selection": "all"}\n')
    (folder / place).unlink(missing_ok=True)
    os.mkfifo(folder / place)
    assert main(["check", str(folder)]) == 2
    assert capsys.readouterr().err == (
        f"{folder / place} is a named pipe, which nothing in a workspace can be; move it away.\n"
    )


def test_a_pipe_among_the_terms(folder: Path) -> None:
    """Their folder is the one that the settings name."""
    os.mkfifo(folder / "terms" / "W3.toml")
    with pytest.raises(WorkspaceError, match=r"terms/W3\.toml is a named pipe"):
        load_terms(folder / "terms", ["CO"], [])


def test_links_to_nowhere_are_no_pipes(folder: Path) -> None:
    """Nor are those to themselves; who needs the file says what is wrong with it."""
    (folder / "letters" / "letter.txt.j2").symlink_to("gone.j2")
    (folder / "mappings" / "lab.toml").symlink_to("lab.toml")
    assert Workspace.open(folder).root == folder
