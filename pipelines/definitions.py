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

from pipelines.defs.causes import cause_suggestions_of_notes
from pipelines.defs.cells import cell_assets, cells_job, cells_sensor
from pipelines.defs.decisions import claim_decisions
from pipelines.defs.exports import export_tables
from pipelines.defs.failures import failure_sensor
from pipelines.defs.figures import field_figures
from pipelines.defs.histories import unit_tables
from pipelines.defs.jobs import exports_sensor, nightly_schedule, refresh_job
from pipelines.defs.night import warnings_of_the_night
from pipelines.defs.payments import claim_payments
from pipelines.defs.publication import publication
from pipelines.defs.reference import reference_tables
from pipelines.defs.resources import SESSION, session_resource
from pipelines.defs.second_opinions import second_opinion_tables
from pipelines.refresh.session import RefreshSession
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

WAIT_SECONDS = 1_800.0  # a night that meets a refresh by hand comes after it, and does not fail


def build_definitions(
    workspace: Path | str,
    as_of: str | None = None,
    progress: Callable[[str], None] | None = None,
    keep: Callable[[RefreshSession], None] | None = None,
    wait_seconds: float = 0.0,
) -> dg.Definitions:
    """The definitions for one workspace.

    Args:
        workspace: the workspace's folder.
        as_of: the day to decide as of; None for today.
        progress: where to tell what is being done; None for Dagster's own log.
        keep: is handed the session once it is open.
        wait_seconds: how long a run waits for another refresh to end.

    Raises:
        WorkspaceError: the workspace has no readable settings.
    """
    opened = Workspace.open(workspace)
    settings = load_settings(opened)
    job, of_cells = refresh_job(), cells_job()
    return dg.Definitions(
        assets=[
            reference_tables,
            export_tables,
            claim_decisions,
            claim_payments,
            unit_tables,
            field_figures,
            second_opinion_tables,
            cause_suggestions_of_notes,
            warnings_of_the_night,
            publication,
            cell_assets(opened.root),
        ],
        jobs=[job, of_cells],
        schedules=[nightly_schedule(job, settings.nightly_at, settings.timezone)],
        sensors=[
            exports_sensor(job, opened.exports, settings.watch_seconds),
            failure_sensor(job, opened.root),
            cells_sensor(of_cells, opened.root),
        ],
        resources={
            SESSION: session_resource(str(opened.root), as_of, progress, keep, wait_seconds)
        },
        executor=dg.in_process_executor,
    )


@dg.definitions  # what Dagster looks for when it loads this module
def defs() -> dg.Definitions:
    """The definitions of the workspace that the environment names."""
    return build_definitions(os.environ.get("LIMELEDGER_WORKSPACE", "."), wait_seconds=WAIT_SECONDS)
