"""A Dagster run that fails tells the same people as the command, with the fault's own sentence."""

from __future__ import annotations

import json
import shutil
import sys
import threading
import warnings
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.errors import BusyError, StorageError, WorkspaceError
from pipelines.orchestration import resources
from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.failures import failure_of
from pipelines.orchestration.jobs import JOB
from pipelines.workspace.lock import refresh_lock

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
QUIET = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}
KEEPS = "import sys; open('told.txt', 'a').write(sys.stdin.read())"
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """A workspace with pages' assets, and a command that writes down what it is told."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES, folder)
    (folder / "published" / "assets").mkdir(parents=True)
    with (folder / "limeledger.toml").open("a") as settings:
        words = json.dumps([sys.executable, "-c", KEEPS])
        settings.write(f"[nightly]\non_failure_command = {words}\n")
    return folder


def fail(workspace: Path) -> tuple[Exception, dg.Definitions]:
    """Runs the job, which must fail, hands the failure to the sensor, and returns its fault."""
    definitions = build_definitions(workspace, as_of="2025-12-31", progress=lambda text: None)
    with dg.DagsterInstance.ephemeral() as instance:
        result = definitions.resolve_job_def(JOB).execute_in_process(
            instance=instance, run_config=QUIET, raise_on_error=False
        )
        assert not result.success
        context = dg.build_run_status_sensor_context(
            sensor_name="failed_refresh",
            dagster_event=result.get_run_failure_event(),
            dagster_instance=instance,
            dagster_run=result.dagster_run,
        ).for_run_failure()
        definitions.resolve_sensor_def("failed_refresh")(context)
        return failure_of(context), definitions


def test_a_fault_of_a_step_comes_with_its_sentence(workspace: Path, monkeypatch) -> None:
    """Dagster wraps the error of a step; the note, the log and the command carry ours."""

    def full(*_):
        raise StorageError("The disk is full. Free some space.")

    monkeypatch.setattr("pipelines.steps.landing.land", full)
    fault, _ = fail(workspace)
    assert isinstance(fault, StorageError)
    assert str(fault) == "The disk is full. Free some space."
    assert (workspace / "told.txt").read_text() == "The disk is full. Free some space.\n"
    assert "The disk is full" in (workspace / "published/assets/status.js").read_text()
    assert "The disk is full" in (workspace / "store/limeledger.log").read_text()
    lines = [json.loads(line) for line in (workspace / "store/runs.jsonl").read_text().splitlines()]
    told = [(line["event"], line["selection"], line["by"], line["exit_code"]) for line in lines]
    assert told == [("begin", "all", "dagster", None), ("end", "all", "dagster", 70)]


def test_a_fault_of_the_tool_is_named_with_its_type(workspace: Path, monkeypatch) -> None:
    """An error that is not ours comes as one line."""

    def broken(*_):
        raise RuntimeError("a planted\nfault")

    monkeypatch.setattr("pipelines.steps.landing.land", broken)
    fail(workspace)
    assert "RuntimeError: a planted fault" in (workspace / "told.txt").read_text()


def test_broken_terms_stop_the_run_before_its_first_step(workspace: Path) -> None:
    """The workspace is checked when the session opens: file and line are in the sentence."""
    (workspace / "terms" / "W2.toml").write_text("edition = \n")
    fault, _ = fail(workspace)
    assert isinstance(fault, WorkspaceError)
    assert "W2.toml line 1" in (workspace / "told.txt").read_text()
    assert "W2.toml line 1" in (workspace / "published/assets/status.js").read_text()


def test_a_run_that_finds_another_refresh_is_no_failed_night(workspace: Path) -> None:
    """It fails in Dagster, but the pages are the other refresh's to tell of."""
    with refresh_lock(workspace / "store"):
        fault, _ = fail(workspace)
    assert isinstance(fault, BusyError)
    assert not (workspace / "told.txt").exists()
    assert not (workspace / "published/assets/status.js").exists()


def test_a_run_waits_for_another_refresh(workspace: Path, monkeypatch) -> None:
    """The lock comes free while the run looks again: the session opens, and says it waited."""
    monkeypatch.setattr(resources, "LOOK_AGAIN_SECONDS", 0.05)
    told: list[str] = []
    free, held = threading.Event(), threading.Event()

    def hold() -> None:
        with refresh_lock(workspace / "store"):
            held.set()
            free.wait(30)

    def say(text: str) -> None:
        told.append(text)
        free.set()

    holder = threading.Thread(target=hold)
    holder.start()
    assert held.wait(30)
    session = resources.session_resource(str(workspace), "2025-12-31", say, wait_seconds=30)
    with dg.build_resources({"session": session}) as opened:
        day = opened.session._open("2025-12-31", say, "run").inputs.as_of
        assert day.isoformat() == "2025-12-31"
    holder.join()
    assert told[0].startswith("Waiting: another refresh of this workspace is running")
