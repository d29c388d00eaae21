"""Assembles everything Dagster sees: one function, which tests and commands call with their own.

Belongs here: putting assets, checks, job, schedule, sensor and resource together. Does not belong
here: any of them.

Loaded by itself (`tool.dagster` in pyproject.toml), it serves the workspace that the environment
variable LIMELEDGER_WORKSPACE names, else the current folder.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import dagster as dg

from pipelines.orchestration.assets import assets_of
from pipelines.orchestration.failures import failure_sensor
from pipelines.orchestration.jobs import inputs_sensor, nightly_schedule, refresh_job
from pipelines.orchestration.resources import SESSION, session_resource
from pipelines.orchestration.sources import source_assets
from pipelines.steps.all_steps import STEPS
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

WAIT_SECONDS = 1_800.0  # a night that meets a refresh by hand comes after it, and does not fail


def build_definitions(
    workspace: Path | str,
    as_of: str | None = None,
    progress: Callable[[str], None] | None = None,
    keep: Callable[[RefreshSession], None] | None = None,
    wait_seconds: float = 0.0,
    in_full: bool = True,
) -> dg.Definitions:
    """The definitions for one workspace.

    Args:
        workspace: the workspace's folder.
        as_of: the day to decide as of; None for today.
        progress: where to tell what is being done; None for Dagster's own log.
        keep: is handed the session once it is open.
        wait_seconds: how long a run waits for another refresh to end.
        in_full: whether Dagster is told columns, first rows and content of each table.

    Raises:
        WorkspaceError: the workspace has no readable settings.
    """
    opened = Workspace.open(workspace)
    settings = load_settings(opened)
    job = refresh_job()
    return dg.Definitions(
        assets=[source_assets(str(opened.root)), *(assets_of(step) for step in STEPS)],
        jobs=[job],
        schedules=[nightly_schedule(job, settings)],
        sensors=[inputs_sensor(job, opened, settings), failure_sensor(job, opened.root)],
        resources={
            SESSION: session_resource(
                str(opened.root), as_of, progress, keep, wait_seconds, in_full=in_full
            )
        },
        executor=dg.in_process_executor,
    )


@dg.definitions  # what Dagster looks for when it loads this module
def defs() -> dg.Definitions:
    """The definitions of the workspace that the environment names."""
    return build_definitions(os.environ.get("LIMELEDGER_WORKSPACE", "."), wait_seconds=WAIT_SECONDS)
