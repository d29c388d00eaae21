"""When a refresh runs by itself: the nightly schedule and the watch on what people lay in.

Belongs here: the job, its schedule, its sensor. Does not belong here: what the job does.
"""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import dagster as dg
from dagster_shared.check import CheckError

from pipelines.errors import LimeledgerError
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.run_lines import AS_OF_TAG
from pipelines.store.inputs import load_inputs
from pipelines.store.published_state import published_manifest
from pipelines.store.states import digest
from pipelines.store.up_to_date import is_published_but_for_the_day
from pipelines.workspace.clock import clock
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings, today

JOB = "refresh"


def refresh_job() -> dg.UnresolvedAssetJobDefinition:
    """All assets in one run, in one process: DuckDB has one writer."""
    return dg.define_asset_job(
        JOB,
        selection=dg.AssetSelection.all(),
        description="Reads what is new, decides, computes and publishes.",
        executor_def=dg.in_process_executor,
    )


def of_day(as_of: dt.date) -> dict[str, Any]:
    """Run configuration and tag of a run as of a day."""
    day = as_of.isoformat()
    return {
        "run_config": {"resources": {SESSION: {"config": {"as_of": day}}}},
        "tags": {AS_OF_TAG: day},
    }


def _day_of_tick(context: dg.ScheduleEvaluationContext, settings: Settings) -> dt.date:
    """The day of a tick where the workspace is, however late it is looked at: 23:59 is no tomorrow.

    A clock that is given tells what day it is, as everywhere.
    """
    try:
        scheduled = context.scheduled_execution_time
    except CheckError:  # asked outside of a tick
        return today(settings)
    return today(settings) if clock() == "given" else scheduled.astimezone(settings.zone).date()


def nightly_schedule(
    job: dg.UnresolvedAssetJobDefinition, settings: Settings
) -> dg.ScheduleDefinition:
    """The nightly refresh, at the workspace's own hour."""
    at, zone = settings.nightly_at, settings.timezone

    @dg.schedule(
        name="nightly",
        job=job,
        cron_schedule=f"{at.minute} {at.hour} * * *",
        execution_timezone=zone,
        default_status=dg.DefaultScheduleStatus.RUNNING
        if settings.nightly_schedule == "on"
        else dg.DefaultScheduleStatus.STOPPED,
        description=f"Refreshes every night at {at:%H:%M}, {zone}.",
    )
    def nightly(context: dg.ScheduleEvaluationContext) -> dg.RunRequest:
        return dg.RunRequest(**of_day(_day_of_tick(context, settings)))

    return nightly


def inputs_sensor(
    job: dg.UnresolvedAssetJobDefinition, workspace: Workspace, settings: Settings
) -> dg.SensorDefinition:
    """A refresh when what people lay in is not what is published, and has been still.

    The cursor holds what lay there at the last look, and what a run was last asked for: a delivery
    that is still being copied changes between looks and is waited for, and what a run has failed
    on is not asked for again.
    """
    seconds = settings.watch_seconds

    @dg.sensor(
        name="exports_folder",
        job=job,
        minimum_interval_seconds=seconds,
        default_status=dg.DefaultSensorStatus.RUNNING
        if settings.nightly_sensor == "on"
        else dg.DefaultSensorStatus.STOPPED,
        description="Refreshes once exports, mappings, reference files, terms or settings have "
        f"changed and been still for {seconds} s.",
    )
    def exports_folder(context: dg.SensorEvaluationContext) -> dg.SensorResult:
        lying = inputs_lying(workspace, settings)
        seen = json.loads(context.cursor) if context.cursor else {}
        last, done = seen.get("last"), seen.get("done")
        is_still = last == lying
        cursor = json.dumps({"last": lying, "done": lying if is_still else done})
        if lying == done:
            return dg.SensorResult(skip_reason="The inputs are as they were.", cursor=cursor)
        if not is_still:
            return dg.SensorResult(
                skip_reason="The inputs have changed; one more look to see that they are still.",
                cursor=cursor,
            )
        if _is_published(workspace):
            return dg.SensorResult(skip_reason="The inputs are those published.", cursor=cursor)
        # Dagster asks once for a key. What lay there before and comes back (a file moved away and
        # back has its old time) must be asked for again where others were published meanwhile.
        after = published_manifest(workspace.published).get("publication", 0)
        request = dg.RunRequest(run_key=f"inputs-{lying}-after-{after}", **of_day(today(settings)))
        return dg.SensorResult(run_requests=[request], cursor=cursor)

    return exports_folder


def _is_published(workspace: Workspace) -> bool:
    """Whether store and pages are of what lies there; not where it cannot be read."""
    try:
        return is_published_but_for_the_day(load_inputs(workspace.root))
    except LimeledgerError:
        return False  # the run tells what is wrong, and leaves its note


def inputs_lying(workspace: Workspace, settings: Settings) -> str:
    """A short fingerprint of names, sizes and times of all files that people lay in."""
    stamps = []
    folders = (
        workspace.exports,
        workspace.mappings,
        workspace.reference,
        workspace.terms(settings.terms),
        workspace.letters,
    )
    files = [path for folder in folders for path in sorted(folder.rglob("*"))]
    files += [workspace.settings_file, *sorted(workspace.store.glob("*.csv"))]
    for path in files:
        try:
            status = path.stat()
        except OSError:
            continue  # gone, or a link to nowhere: the refresh itself reports it
        if path.is_file():
            stamps.append(
                (str(path.relative_to(workspace.root)), status.st_size, status.st_mtime_ns)
            )
    return digest(stamps)[:16]
