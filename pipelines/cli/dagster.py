"""`limeledger dagster`: Dagster's own page for one workspace, on the loopback address."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import warnings
from pathlib import Path

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import progress
from pipelines.errors import UsageError, WorkspaceError
from pipelines.workspace.layout import Workspace
from pipelines.workspace.permissions import private_umask
from pipelines.workspace.settings import Settings

INSTANCE = """\
# Written by `limeledger dagster`: nothing leaves this machine, one refresh runs at a time.
telemetry: {enabled: false}
nux: {enabled: false}
run_monitoring: {enabled: true}
concurrency: {runs: {max_concurrent_runs: 1}}
retention: {sensor: {purge_after_days: {skipped: 7, failure: 30, success: 30}}}
"""

HELP = "Open Dagster's own page on the loopback address."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--port", type=int, default=3000)
    parser.add_argument(
        "--no-page", action="store_true", help="only the schedule and the sensor, for a service"
    )


def run(args: argparse.Namespace) -> int:
    """Serves Dagster's page with the nightly schedule and the folder sensor until stopped."""
    from pipelines.workspace.settings import load_settings

    if not 1 <= args.port <= 65535:
        raise UsageError(f"--port {args.port} is no port; choose one from 1 to 65535.")
    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    if args.no_page:
        progress(f"{_what_is_on(settings)} (stop with Ctrl-C)")
        command = daemon_command()
    else:
        progress(f"Dagster's page: http://127.0.0.1:{args.port} (stop it with Ctrl-C)")
        command = page_command(args.port)
    with private_umask(settings.readable_by):  # Dagster's processes take it over
        environment = os.environ | dagster_environment(workspace)
        bring_home_up_to_date(Path(environment["DAGSTER_HOME"]))
        try:
            return subprocess.call(command, env=environment, cwd=workspace.root)
        except KeyboardInterrupt:
            return 0


def _what_is_on(settings: Settings) -> str:
    """Whether schedule and sensor come up running, in a sentence without its end."""
    schedule, sensor = settings.nightly_schedule == "on", settings.nightly_sensor == "on"
    if schedule and sensor:
        return "The nightly schedule and the folder sensor are on"
    if schedule:
        return "The nightly schedule is on; the folder sensor is off under [nightly]"
    if sensor:
        return "The folder sensor is on; the nightly schedule is off under [nightly]"
    return "The nightly schedule and the folder sensor are both off under [nightly]: nothing runs"


def page_command(port: int) -> list[str]:
    """Dagster's page and daemon; the page answers on the loopback address alone."""
    command = [sys.executable, "-m", "dagster", "dev", "-m", "pipelines.orchestration.definitions"]
    return [*command, "-h", "127.0.0.1", "-p", str(port)]


def daemon_command() -> list[str]:
    """Dagster's daemon without a page: it opens no port."""
    return [
        sys.executable,
        "-m",
        "dagster._daemon",
        "run",
        "-m",
        "pipelines.orchestration.definitions",
    ]


def dagster_environment(workspace: Workspace) -> dict[str, str]:
    """What Dagster's processes are told: the workspace, and its own Dagster folder."""
    return {
        "DAGSTER_HOME": str(dagster_home(workspace)),
        "DAGSTER_DISABLE_TELEMETRY": "1",
        "LIMELEDGER_WORKSPACE": str(workspace.root),
    }


def dagster_home(workspace: Workspace) -> Path:
    """The workspace's own Dagster folder, with telemetry off."""
    home = workspace.store / "dagster"
    home.mkdir(parents=True, exist_ok=True)
    (home / "dagster.yaml").write_text(INSTANCE, encoding="utf-8")
    return home


def bring_home_up_to_date(home: Path) -> None:
    """Migrates what another version of Dagster has kept in its folder.

    Raises:
        WorkspaceError: it is damaged, or a newer version's.
    """
    if not any((home / folder).exists() for folder in ("history", "schedules")):
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of Dagster's own imports
        import dagster as dg
    try:
        with dg.DagsterInstance.from_config(str(home)) as instance:
            kept = (instance.run_storage, instance.event_log_storage, instance.schedule_storage)
            versions = [storage.alembic_version() for storage in kept if storage is not None]
            if any(version and version[0] != version[1] for version in versions):
                progress("Bringing Dagster's folder to this version of Dagster")
                instance.upgrade()
    except Exception as error:  # of Dagster, SQLAlchemy, Alembic or SQLite
        why = " ".join(str(error).split("\n")[0].split()).rstrip(".")
        raise WorkspaceError(
            f"{home} cannot be brought to this version of Dagster ({why}). Move the folder away "
            "and start again: its list of past runs goes with it; store, pages and archive stay."
        ) from error
