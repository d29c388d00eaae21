"""How a command ends that is stopped, or that something stops which nobody expected."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipelines.cli.main import main

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"


def test_a_stop_that_a_library_calls_an_error_is_a_stop(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody is told that the tool failed."""

    def interrupted(_: object) -> int:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise RuntimeError("Query interrupted") from None
        return 0

    monkeypatch.setattr("pipelines.cli.schema.run", interrupted)
    # What a shell starts in the background, and with it these tests, does not hear Ctrl-C.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        assert main(["schema"]) == 130
    finally:
        signal.signal(signal.SIGINT, before)
    assert capsys.readouterr().err.startswith("Stopped.")


def test_a_panic_is_a_fault_of_the_tool(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What polars raises then is no `Exception`; uncaught it would end with 1, which means done."""

    def panics(_: object) -> int:
        raise pl.exceptions.PanicException("Worker threads cannot be set to 0")

    monkeypatch.setattr("pipelines.cli.schema.run", panics)
    assert main(["schema"]) == 70
    assert "Limeledger itself failed (PanicException)" in capsys.readouterr().err


def test_texts_that_python_leaves_out_are_missed_at_once(tmp_path: Path) -> None:
    """They stand in the dictionary, in help and in the schemas; without them a run would fail."""
    command = [sys.executable, "-OO", "-m", "pipelines.cli", "new", str(tmp_path / "ws")]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ended.returncode == 2
    assert ended.stderr.startswith("Python leaves out texts that are published (-OO")
    assert not (tmp_path / "ws").exists()


def test_a_folder_that_is_gone_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who stands in a folder that another has removed made no mistake, nor did the tool."""
    workspace = shutil.copytree(CASES, tmp_path / "ws")
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    (tmp_path / "here").rmdir()
    assert main(["backup", str(workspace), "kept.zip"]) == 2
    assert "The current folder is gone" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("place", "call"),
    [
        ("backup._manifest", ["backup", "ws", "new.zip"]),
        ("restore.restrict", ["restore", "kept.zip", "put back"]),
    ],
)
def test_what_is_asked_to_end_leaves_nothing_half(
    place: str, call: list[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Each would leave as much as a workspace holds."""
    shutil.copytree(CASES, tmp_path / "ws")
    monkeypatch.chdir(tmp_path)
    assert main(["backup", "ws", "kept.zip"]) == 0
    before = sorted(os.listdir(tmp_path))

    def asked_to_end(*_: object) -> None:
        signal.raise_signal(signal.SIGTERM)

    monkeypatch.setattr(f"pipelines.workspace.{place}", asked_to_end)
    assert main(call) == 130
    assert sorted(os.listdir(tmp_path)) == before


@pytest.mark.parametrize("sign", ["?", "\\"])
@pytest.mark.parametrize("call", [["check"], ["new"], ["demo"], ["restore", "kept.zip"]])
def test_a_path_that_the_database_takes_for_another_is_refused(
    call: list[str],
    sign: str,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """DuckDB would write beside it, or nowhere: nothing is laid down that no refresh can fill."""
    shutil.copytree(CASES, tmp_path / "ws")
    monkeypatch.chdir(tmp_path)
    assert main(["backup", "ws", "kept.zip"]) == 0
    if call == ["check"]:
        Path(f"w{sign}s").mkdir()
        shutil.copytree(CASES, f"w{sign}s/ws")
    before = sorted(os.listdir(tmp_path))
    assert main([*call, f"w{sign}s/ws"]) == 2
    assert f"there is a {sign} in the path" in capsys.readouterr().err
    assert sorted(os.listdir(tmp_path)) == before
