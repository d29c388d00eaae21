"""A real Dagster daemon: the schedule runs a night, the sensor a delivery, a failure is told of.

It runs as `limeledger dagster` starts it, in the workspace's own Dagster folder. The night is one
that the daemon missed, since the machine was off at its minute: it is caught up at once, so that
the test need not wait for a minute to begin.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg
    from dagster._core.definitions.run_request import InstigatorType
    from dagster._core.definitions.sensor_definition import SensorType
    from dagster._core.remote_origin import RemoteInstigatorOrigin, RemoteRepositoryOrigin
    from dagster._core.scheduler.instigation import (
        InstigatorState,
        InstigatorStatus,
        ScheduleInstigatorData,
        SensorInstigatorData,
    )
    from dagster._core.workspace.load_target import ModuleTarget

from pipelines.cli.dagster import daemon_command, dagster_environment, dagster_home
from pipelines.orchestration.jobs import inputs_lying
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
ROOT = Path(__file__).parents[2]
PATIENCE_SECONDS = 300  # for each step; on a quiet machine all take half a minute
KEEPS = "import sys; open('told.txt', 'a').write(sys.stdin.read())"
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """Worked claims whose night was due two minutes ago, and who is to be told of a failure."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES, folder)
    due = dt.datetime.now(dt.UTC) - dt.timedelta(minutes=2)
    text = (folder / "limeledger.toml").read_text().replace("America/Denver", "UTC")
    command = json.dumps([sys.executable, "-c", KEEPS])
    text += f'[nightly]\nat = "{due:%H:%M}"\nwatch_seconds = 1\non_failure_command = {command}\n'
    (folder / "limeledger.toml").write_text(text)
    return folder


@pytest.fixture
def instance(workspace: Path) -> Iterator[dg.DagsterInstance]:
    """The workspace's own Dagster instance, as a daemon left it that went five minutes ago.

    The schedule was on then, and the sensor had seen the exports as they are.
    """
    home = dagster_home(Workspace.open(workspace))
    at = load_settings(Workspace.open(workspace)).nightly_at
    opened = Workspace.open(workspace)
    state = inputs_lying(opened, load_settings(opened))
    known = {
        "nightly": (
            InstigatorType.SCHEDULE,
            ScheduleInstigatorData(f"{at.minute} {at.hour} * * *", time.time() - 300),
        ),
        "exports_folder": (
            InstigatorType.SENSOR,
            SensorInstigatorData(
                cursor=json.dumps({"last": state, "done": state}),
                sensor_type=SensorType.STANDARD,
            ),
        ),
    }
    with dg.DagsterInstance.from_config(str(home)) as instance:
        [location] = ModuleTarget(
            "pipelines.orchestration.definitions", None, None, None
        ).create_origins()
        repository = RemoteRepositoryOrigin(location, "__repository__")
        for name, (kind, data) in known.items():
            origin = RemoteInstigatorOrigin(repository, name)
            instance.add_instigator_state(
                InstigatorState(origin, kind, InstigatorStatus.DECLARED_IN_CODE, data)
            )
        yield instance


@pytest.fixture
def daemon(workspace: Path, instance: dg.DagsterInstance, tmp_path: Path):
    """The daemon as a process group of its own, which is ended whole."""
    opened = Workspace.open(workspace)
    environment = dagster_environment(opened) | {"PYTHONPATH": str(ROOT)}
    with (tmp_path / "daemon.log").open("w") as log:
        process = subprocess.Popen(
            daemon_command(),
            env=os.environ | environment,
            cwd=workspace,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            yield process
        finally:
            os.killpg(process.pid, signal.SIGTERM)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(20)
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)  # what it left of its group
            process.wait()


def runs(instance: dg.DagsterInstance, tag: str, name: str) -> list[dg.DagsterRun]:
    """The runs that a schedule or sensor started, the oldest first."""
    found = instance.get_runs(filters=dg.RunsFilter(tags={tag: name}))
    return list(reversed(found))


def test_schedule_sensor_and_failure_in_a_real_daemon(
    workspace: Path, instance: dg.DagsterInstance, daemon: subprocess.Popen, tmp_path: Path
) -> None:
    """A night, then a delivery, then a night that fails: store, pages and people know of each."""

    def until(holds: Callable[[], bool], what: str) -> None:
        end = time.monotonic() + PATIENCE_SECONDS
        while not holds():
            log = (tmp_path / "daemon.log").read_text()[-3000:]
            assert daemon.poll() is None, log
            assert time.monotonic() < end, f"{what} did not come; {log}"
            time.sleep(0.5)

    def night() -> list[dg.DagsterRun]:
        return runs(instance, "dagster/schedule_name", "nightly")

    def deliveries() -> list[dg.DagsterRun]:
        return runs(instance, "dagster/sensor_name", "exports_folder")

    until(lambda: bool(night()) and night()[0].is_finished, "the night's run")
    assert [run.status for run in night()] == [dg.DagsterRunStatus.SUCCESS]
    accounts = workspace / "published" / "data" / "row_accounts.csv"
    assert "units/more.csv" not in accounts.read_text()

    header = (workspace / "exports/units/register.csv").read_text().splitlines()[0]
    row = "K0001,CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Kitchen 16,US-NM,00000,"
    (workspace / "exports/units/more.csv").write_text(f"{header}\n{row}\n")
    until(lambda: "units/more.csv" in accounts.read_text(), "the delivery on the pages")
    read = pl.read_csv(accounts).filter(pl.col("file") == "units/more.csv")
    assert read["records"].to_list() == [1]
    until(lambda: deliveries()[-1].is_finished, "the end of the delivery's run")
    assert [run.status for run in deliveries()] == [dg.DagsterRunStatus.SUCCESS]
    assert not (workspace / "told.txt").exists()

    (workspace / "terms" / "W2.toml").write_text("edition = \n")
    (workspace / "exports/units/more.csv").write_text(f"{header}\n")
    until((workspace / "told.txt").exists, "word of the failed run")
    until(lambda: "W2.toml" in (workspace / "told.txt").read_text(), "the reason")
    assert "W2.toml line 1" in (workspace / "published/assets/status.js").read_text()
    assert "W2.toml line 1" in (workspace / "store/limeledger.log").read_text()
    assert "units/more.csv" in accounts.read_text()  # the old pages stand
