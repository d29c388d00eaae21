"""Whatever ends a whole run, log and pages tell of it; the next good one clears the pages."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.errors import BusyError, StorageError, WorkspaceError
from pipelines.nightly.page_note import read_note
from pipelines.nightly.recorded_run import recorded_run, settle
from pipelines.store.run_log import ALL, FILE, Ended, Run, new_run_id
from pipelines.workspace.create import create_workspace
from pipelines.workspace.layout import Workspace

BEGINS_AND_DIES = """
import os, signal, sys
from pipelines.nightly.recorded_run import recorded_run
from pipelines.store.run_log import Run
from pipelines.workspace.layout import Workspace
selection = "all" if sys.argv[3] == "all" else [sys.argv[3]]
with recorded_run(Workspace.open(sys.argv[1]), Run(sys.argv[2], "2026-03-31", selection, "sensor")):
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A new workspace with pages, and no store."""
    create_workspace(tmp_path / "workspace")
    assets = tmp_path / "workspace" / "published" / "assets"
    assets.mkdir(parents=True)
    (assets / "status.js").write_text("window.limeledgerStatus = null;\n")
    return Workspace.open(tmp_path / "workspace")


def lines(workspace: Workspace) -> list[dict]:
    """The lines of the log."""
    return [json.loads(line) for line in (workspace.store / FILE).read_text().splitlines()]


def night(selection="all") -> Run:
    """A run as the schedule asks for it."""
    return Run(new_run_id(), "2026-03-31", selection, "schedule")


def fail(workspace: Workspace, error: BaseException, run: Run) -> None:
    """A run that this error ends."""
    with pytest.raises(type(error)), recorded_run(workspace, run):
        raise error


def kill(workspace: Workspace, selection: str = "all") -> str:
    """A run whose process is killed; returns its id."""
    run = new_run_id()
    arguments = [str(workspace.root), run, selection]
    done = subprocess.run([sys.executable, "-c", BEGINS_AND_DIES, *arguments])
    assert done.returncode == -signal.SIGKILL
    return run


@pytest.mark.parametrize(
    ("error", "code", "sentence"),
    [
        (WorkspaceError("terms/A.toml line 3: wrong."), 2, "terms/A.toml line 3: wrong."),
        (StorageError("The disk is\nfull."), 70, "The disk is full."),
        (KeyboardInterrupt(), 130, "The refresh was stopped by hand."),
    ],
)
def test_a_whole_run_that_fails_leaves_log_and_note(
    workspace: Workspace, error: BaseException, code: int, sentence: str
) -> None:
    """Both name the run, its exit code and its reason; the next good one, new or not, clears it."""
    run = night()
    fail(workspace, error, run)
    begin, end = lines(workspace)
    assert (begin["event"], begin["run"], begin["by"]) == ("begin", run.run, "schedule")
    assert (end["outcome"], end["exit_code"], end["sentence"]) == ("failed", code, sentence)
    assert read_note(workspace.published) == {
        "failed_at": end["at"],
        "reason": sentence,
        "run": run.run,
        "exit_code": code,
        "outcome": "failed",
    }
    status = (workspace.published / "assets" / "status.js").read_text()
    assert status.startswith("window.limeledgerStatus = {")
    assert status.endswith("};\n")
    with recorded_run(workspace, night()) as recorded:
        recorded.ends(Ended("already_current", 1, ""))
    assert (
        workspace.published / "assets" / "status.js"
    ).read_text() == "window.limeledgerStatus = null;\n"


def test_a_busy_workspace_and_a_part_of_the_assets_leave_no_note(workspace: Workspace) -> None:
    """The log has both, the pages neither; nor does a good part clear what a night left."""
    fail(workspace, BusyError("another refresh is running."), night())
    fail(workspace, StorageError("full."), night(["decisions"]))
    assert [line["exit_code"] for line in lines(workspace)] == [None, 3, None, 70]
    assert read_note(workspace.published) is None
    whole = night()
    fail(workspace, StorageError("full."), whole)
    with recorded_run(workspace, night(["decisions"])):
        pass
    note = read_note(workspace.published)
    assert note is not None
    assert note["run"] == whole.run


def test_a_run_that_has_begun_is_put_down_once(workspace: Workspace) -> None:
    """The command begins the run in which Dagster then opens the session: two lines, not four."""
    run = night()
    with recorded_run(workspace, run), recorded_run(workspace, run):
        pass
    assert [line["event"] for line in lines(workspace)] == ["begin", "end"]


def test_a_killed_run_is_told_by_whoever_looks_next(workspace: Workspace) -> None:
    """Its end and its note come once; a killed part of the assets leaves the end alone."""
    kill(workspace, "decisions")
    settle(workspace.root)
    assert [line["outcome"] for line in lines(workspace)] == [None, "killed"]
    assert read_note(workspace.published) is None
    run = kill(workspace)
    settle(workspace.root)
    settle(workspace.root)
    assert [line["outcome"] for line in lines(workspace)] == [None, "killed", None, "killed"]
    note = read_note(workspace.published)
    assert note is not None
    assert (note["run"], note["outcome"], note["exit_code"]) == (run, "killed", None)
    assert "did not end" in note["reason"]


def test_without_pages_the_note_comes_with_them(workspace: Workspace) -> None:
    """Where it cannot be written, the next one that can does it."""
    kill(workspace)
    assets = workspace.published / "assets"
    assets.rename(workspace.published / "away")
    settle(workspace.root)
    assert not assets.exists()
    (workspace.published / "away").rename(assets)
    settle(workspace.root)
    note = read_note(workspace.published)
    assert note is not None
    assert note["outcome"] == "killed"


def test_where_the_log_takes_no_line_the_pages_still_tell(workspace: Workspace) -> None:
    """The note of a run that the log could not take stands until a later whole run is good."""
    with recorded_run(workspace, night()):
        pass
    log = workspace.store / FILE
    kept = log.read_bytes()
    run = night()
    with recorded_run(workspace, run) as recorded:
        log.unlink()
        log.mkdir()  # in the way, as a full disk would be
        recorded.ends(Ended("failed", 70, "The disk is full."))
    log.rmdir()
    log.write_bytes(kept)
    settle(workspace.root)
    note = read_note(workspace.published)
    assert note is not None
    assert note["run"] == run.run
    with recorded_run(workspace, night()):
        pass
    assert read_note(workspace.published) is None


def test_looking_writes_nothing_where_all_is_told(workspace: Workspace, tmp_path: Path) -> None:
    """No folder is made, no file is touched; what is no workspace is passed over."""
    settle(workspace.root)
    assert not workspace.store.exists()
    fail(workspace, StorageError("full."), night())
    files = [workspace.store / FILE, workspace.published / "assets" / "status.js"]
    before = [os.stat(file).st_mtime_ns for file in files]
    settle(workspace.root)
    assert [os.stat(file).st_mtime_ns for file in files] == before
    settle(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()


def test_a_link_out_of_the_workspace_is_not_followed(workspace: Workspace, tmp_path: Path) -> None:
    """Of a store that lies elsewhere nothing is believed and nothing is written."""
    kill(workspace)
    workspace.store.rename(tmp_path / "elsewhere")
    workspace.store.symlink_to(tmp_path / "elsewhere")
    settle(workspace.root)
    assert len((tmp_path / "elsewhere" / FILE).read_text().splitlines()) == 1


def test_no_text_of_a_note_ends_the_script(workspace: Workspace) -> None:
    """A reason that came in with the data stays text."""
    fail(workspace, StorageError("</script><b>\u2028é"), night())
    status = (workspace.published / "assets" / "status.js").read_text()
    assert "<" not in status
    assert status.isascii()
    note = read_note(workspace.published)
    assert note is not None
    assert note["reason"] == "</script><b> é"  # a line separator is a blank, as every line end is


def test_all_is_the_word_for_every_asset() -> None:
    """runs.md: `selection` (all, or the assets)."""
    assert ALL == "all"


def test_a_fault_of_the_tool_names_its_log(workspace: Workspace) -> None:
    """The note of exit code 70 says where the details are."""
    fail(workspace, RuntimeError("planted"), night())
    note = read_note(workspace.published)
    assert note is not None
    assert note["exit_code"] == 70
    told = "RuntimeError: planted (a fault of the tool; the details are in store/limeledger.log)"
    assert note["reason"] == told
