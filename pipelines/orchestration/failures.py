"""Tells of a run that failed, as the command does: note on the pages, log, command, mail.

Belongs here: finding out from Dagster what stopped a run. Does not belong here: who is told, and
how (`pipelines.nightly.notifications`).
"""

from __future__ import annotations

from pathlib import Path

import dagster as dg

from pipelines.nightly.notifications import after_failure
from pipelines.orchestration.run_lines import RunFailedError, error_of, run_of


def failure_sensor(job: dg.UnresolvedAssetJobDefinition, workspace: Path) -> dg.SensorDefinition:
    """Watches the runs of the job; Dagster's daemon finds also those whose process was killed."""

    @dg.run_failure_sensor(
        name="failed_refresh",
        monitored_jobs=[job],
        minimum_interval_seconds=5,
        default_status=dg.DefaultSensorStatus.RUNNING,
        description="Puts a note on the pages when a refresh fails, and tells whom settings name.",
    )
    def failed_refresh(context: dg.RunFailureSensorContext) -> None:
        run = run_of(context.dagster_run, None)
        for sentence in after_failure(workspace, failure_of(context), run):
            context.log.error(sentence)

    return failed_refresh


def failure_of(context: dg.RunFailureSensorContext) -> Exception:
    """What stopped a run: the error of its first failed step, of its resource, or of the run."""
    step_errors = [event.step_failure_data.error for event in context.get_step_failure_events()]
    for error in (*step_errors, context.failure_event.job_failure_data.error):
        if error is not None:
            return error_of(error)
    return RunFailedError(context.failure_event.message or "the run ended without a word")
