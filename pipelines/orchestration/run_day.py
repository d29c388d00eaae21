"""The as-of day of a run: as its configuration, its tag or its parent says; else today.

Belongs here: which of them goes. Does not belong here: the session that is opened as of it
(`resources`), or what day it is (`pipelines.workspace.settings`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import dagster as dg

from pipelines.errors import LimeledgerError, RefusedError, UsageError
from pipelines.orchestration.run_lines import AS_OF_TAG
from pipelines.workspace.clock import clock, now
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings, today
from pipelines.workspace.typed_days import typed_day


def day_or_fault(
    context: dg.AssetExecutionContext, config: Mapping[str, Any], workspace: Workspace
) -> tuple[str | None, LimeledgerError | None]:
    """The day of a run, or why it has none, to be told once the run has begun."""
    try:
        return _day(context, config, workspace), None
    except LimeledgerError as error:
        return None, error


def _day(context: dg.AssetExecutionContext, config: Mapping[str, Any], workspace: Workspace) -> str:
    if unknown := sorted(set(config) - {"as_of"}):
        raise UsageError(
            f'resources.session.config has no key "{unknown[0]}"; it takes as_of, a day such '
            "as 2026-03-31."
        )
    run, given = context.run, config.get("as_of")
    if given is not None and not isinstance(given, str):
        raise UsageError(
            f"resources.session.config.as_of is {given!r}; write a day such as 2026-03-31."
        )
    if given:
        typed_day("resources.session.config.as_of", given)
    parent = context.instance.get_run_by_id(run.parent_run_id) if run.parent_run_id else None
    inherited = parent.tags.get(AS_OF_TAG) if parent else None
    if given and inherited and given != inherited:
        raise RefusedError(
            f"This run is executed again as of {given}, but its parent was as of {inherited}. "
            "Leave as_of out, or start a new run."
        )
    if day := given or inherited:
        return day
    if tagged := run.tags.get(AS_OF_TAG):
        return typed_day(f"The run's tag {AS_OF_TAG}", tagged).isoformat()
    return _today(context, parent, workspace)


def _today(
    context: dg.AssetExecutionContext, parent: dg.DagsterRun | None, workspace: Workspace
) -> str:
    """The day, where the workspace is, on which the run, or the one that it repeats, began."""
    settings = load_settings(workspace)
    if clock() == "given":
        return today(settings).isoformat()
    begun = context.instance.get_run_stats((parent or context.run).run_id).start_time
    moment = dt.datetime.fromtimestamp(begun or now().timestamp(), settings.zone)
    return moment.date().isoformat()
