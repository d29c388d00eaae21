"""What the log of runs says of one that Dagster starts: what it was asked for, by whom, its end.

Belongs here: reading a Dagster run, its events and its session. Does not belong here: the log
(`pipelines.store.run_log`), or who is told of a failure (`failures`).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import multiprocessing
from collections.abc import Mapping
from typing import Any

import dagster as dg
from dagster import DagsterEventType

from pipelines import errors
from pipelines.nightly.recorded_run import ended_by
from pipelines.orchestration.summary import summarize
from pipelines.steps.all_steps import STEPS
from pipelines.store.run_log import ALL, By, Ended, Run
from pipelines.store.transaction import RefreshSession

AS_OF_TAG = "limeledger/as_of"
_BY: dict[str, By] = {"dagster/schedule_name": "schedule", "dagster/sensor_name": "sensor"}
_STEPS = {step.name: step for step in STEPS}
_ASSETS = frozenset(name for step in STEPS for name in step.tables)
_PUBLISHED = frozenset(name for step in STEPS if step.publishes for name in step.tables)
_OVER = (DagsterEventType.STEP_SUCCESS, DagsterEventType.STEP_SKIPPED)
_OURS = {
    kind.__name__: kind
    for kind in (
        errors.UsageError,
        errors.WorkspaceError,
        errors.RefusedError,
        errors.BusyError,
        errors.StorageError,
    )
}


class RunFailedError(Exception):
    """What Dagster says of a run that no error of ours explains."""


def run_of(run: dg.DagsterRun, as_of: str | None) -> Run:
    """The run as the log knows it.

    It is a whole one where all assets are selected, or where it executes the rest of such a one
    again up to the publication.
    """
    names = {key.to_user_string() for key in run.asset_selection or ()} & _ASSETS or _ASSETS
    steps = run.step_keys_to_execute
    made = names
    if steps is not None:
        made = names & {name for key in steps if key in _STEPS for name in _STEPS[key].tables}
    is_whole = names == _ASSETS and (steps is None or made >= _PUBLISHED)
    by: By = next((word for tag, word in _BY.items() if tag in run.tags), "dagster")
    if run.parent_run_id is not None:
        by = "dagster"  # whoever executes it again: the tags are those of its parent
    return Run(
        run.run_id, _day(as_of or run.tags.get(AS_OF_TAG)), ALL if is_whole else sorted(made), by
    )


def _day(given: object) -> str | None:
    """A day as the log holds it; None where what was given is none."""
    try:
        return dt.date.fromisoformat(str(given)).isoformat()
    except ValueError:
        return None


def tag_day(context: dg.AssetExecutionContext, day: str | None) -> None:
    """Puts down the day before anything can fail: whoever executes the run again takes it over."""
    known = context.instance.get_run_by_id(context.run.run_id)
    if day is None or known is None or known.tags.get(AS_OF_TAG) == day:
        return
    with contextlib.suppress(ValueError):  # no day: opening the session tells it
        day_tag = {AS_OF_TAG: dt.date.fromisoformat(day).isoformat()}
        context.instance.add_run_tags(known.run_id, day_tag)


def executing_process(context: dg.AssetExecutionContext) -> int | None:
    """The process that executes the run where this one does but one of its steps; else None.

    0 where it cannot be known, since it is on another machine.
    """
    own = context.get_step_execution_context().execution_plan.step_keys_to_execute
    if _steps_of(context) <= set(own):
        return None
    parent = multiprocessing.parent_process()
    return parent.pid or 0 if parent is not None else 0


def end_of(context: dg.AssetExecutionContext, session: RefreshSession, whole: bool) -> Ended | None:
    """How a run ended: by its first failure, else by what its assets say; None where it goes on."""
    if session.failure is not None:
        if type(session.failure).__name__ == "DagsterExecutionInterruptedError":
            return ended_by(KeyboardInterrupt(), session.inputs.workspace)
        return ended_by(session.failure, session.inputs.workspace)
    kinds = {*_OVER, DagsterEventType.STEP_FAILURE, DagsterEventType.ASSET_MATERIALIZATION}
    logged = context.instance.all_logs(context.run.run_id, of_type=kinds)
    events = [entry.get_dagster_event() for entry in logged if entry.is_dagster_event]
    for event in events:
        if event.is_step_failure and event.step_failure_data.error is not None:
            fault = error_of(event.step_failure_data.error)
            return ended_by(fault, session.inputs.workspace)
    over = {event.step_key for event in events if event.event_type in _OVER}
    if not _steps_of(context) <= over:
        if executing_process(context) is not None:
            return None
        return ended_by(RunFailedError("the run was ended"), session.inputs.workspace)
    made = {
        event.asset_key.to_user_string(): event.step_materialization_data.materialization.metadata
        for event in events
        if event.is_step_materialization and event.asset_key is not None
    }
    return _good_end(session, whole, made)


def _good_end(session: RefreshSession, whole: bool, made: Mapping[str, Mapping[str, Any]]) -> Ended:
    day = session.inputs.as_of
    new = {name for name, metadata in made.items() if not metadata["already_current"].value}
    is_told = session.is_published and (whole or bool(_PUBLISHED & set(made)))
    code = summarize(session.inputs, 0.0).exit_code if is_told else 0
    if not new:
        sentence = f"All that was selected was there already, as of {day}."
        return Ended("already_current", code, sentence)
    if new & _PUBLISHED:
        return Ended("done", code, f"Published as of {day}.")
    return Ended("done", code, f"Made what was selected, as of {day}; nothing was published.")


def _steps_of(context: dg.AssetExecutionContext) -> frozenset[str]:
    """The steps of the whole run, in whatever process each is executed."""
    snapshot = context.run.execution_plan_snapshot_id
    plan = (
        context.get_step_execution_context().execution_plan
        if snapshot is None
        else context.instance.get_execution_plan_snapshot(snapshot)
    )
    return frozenset(plan.step_keys_to_execute)


def error_of(error: dg.SerializableErrorInfo) -> Exception:
    """The error that Dagster tells of: one of ours again, where it began with one."""
    while error.cause is not None:
        error = error.cause  # Dagster's own errors wrap ours
    name = error.cls_name or ""
    sentence = error.message.partition(f"{name}: ")[2].strip() if name else ""
    if name in _OURS and sentence:
        return _OURS[name](sentence)
    return RunFailedError(" ".join(error.message.split()))
