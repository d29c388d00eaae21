"""When a refresh runs by itself: the nightly schedule and the watch on the exports folder.

Belongs here: the job, its schedule, its sensor. Does not belong here: what the job does.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from pathlib import Path

import dagster as dg

JOB = "refresh"


def refresh_job() -> dg.UnresolvedAssetJobDefinition:
    """All assets in one run, in one process: DuckDB has one writer."""
    return dg.define_asset_job(
        JOB,
        selection=dg.AssetSelection.all(),
        description="Reads what is new, decides, computes and publishes.",
        executor_def=dg.in_process_executor,
    )


def nightly_schedule(
    job: dg.UnresolvedAssetJobDefinition, at: dt.time, timezone: str
) -> dg.ScheduleDefinition:
    """The nightly refresh, at the workspace's own hour."""
    return dg.ScheduleDefinition(
        name="nightly",
        job=job,
        cron_schedule=f"{at.minute} {at.hour} * * *",
        execution_timezone=timezone,
        default_status=dg.DefaultScheduleStatus.RUNNING,
        description=f"Refreshes every night at {at:%H:%M}, {timezone}.",
    )


def exports_sensor(
    job: dg.UnresolvedAssetJobDefinition, exports: Path, watch_seconds: int
) -> dg.SensorDefinition:
    """A refresh when the exports folder has changed and has been still for `watch_seconds`.

    The cursor holds the folder's state at the last look and the state last run for: a delivery
    that is still being copied changes between looks and is waited for.
    """

    @dg.sensor(
        name="exports_folder",
        job=job,
        minimum_interval_seconds=watch_seconds,
        default_status=dg.DefaultSensorStatus.RUNNING,
        description=f"Refreshes once exports/ has changed and been still for {watch_seconds} s.",
    )
    def exports_folder(context: dg.SensorEvaluationContext) -> dg.SensorResult | dg.SkipReason:
        state = folder_state(exports)
        seen = json.loads(context.cursor) if context.cursor else {}
        last, done = seen.get("last"), seen.get("done")
        cursor = json.dumps({"last": state, "done": done if last != state else state})
        if state == done:
            return dg.SensorResult(skip_reason="The exports are as they were.", cursor=cursor)
        if last != state:
            return dg.SensorResult(
                skip_reason="The exports have changed; one more look to see that they are still.",
                cursor=cursor,
            )
        return dg.SensorResult(
            run_requests=[dg.RunRequest(run_key=f"exports-{state}")], cursor=cursor
        )

    return exports_folder


def folder_state(exports: Path) -> str:
    """A short fingerprint of names, sizes and times of all files below a folder."""
    told = []
    for path in sorted(exports.rglob("*")):
        try:
            status = path.stat()
        except OSError:
            continue  # gone, or a link to nowhere: the refresh itself reports it
        if path.is_file():
            told.append((str(path.relative_to(exports)), status.st_size, status.st_mtime_ns))
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:16]
