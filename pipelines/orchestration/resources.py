"""The one resource: opens a run's session when its first step begins, and closes it at the end.

Belongs here: how a run gets its workspace, its as-of day and its plan. Does not belong here: what a
session is (`pipelines.store.transaction`).

A step that runs in a process of its own opens a session of its own: what the run is of stands in
its tags.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from typing import Any

import dagster as dg

from pipelines.errors import BusyError, RefusedError
from pipelines.nightly.recorded_run import RecordedRun, ended_by, recorded_run, settle
from pipelines.orchestration.run_day import day_or_fault
from pipelines.orchestration.run_lines import (
    AS_OF_TAG,
    end_of,
    executing_process,
    run_of,
    tag_day,
)
from pipelines.orchestration.sources import observe
from pipelines.steps.all_steps import STORE_TABLES
from pipelines.steps.letter_register import bring_up
from pipelines.steps.planning import Plan, plan
from pipelines.store.leftovers import remove_leftovers
from pipelines.store.lost_desk import refuse_lost_desk
from pipelines.store.run_log import ALL
from pipelines.store.transaction import RefreshSession, open_session
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

SESSION, STATE_TAG = "session", "limeledger/state"
LOOK_AGAIN_SECONDS = 5.0
Keep = Callable[[RefreshSession], None]


class Opener:
    """What the steps of a run get: the session, opened once, and the plan of the run.

    in_full: whether Dagster is told all of each table, for its page.
    """

    def __init__(
        self,
        workspace: str,
        config: Mapping[str, Any],
        progress: Callable[[str], None] | None,
        keep: Keep | None,
        wait_seconds: float,
        in_full: bool,
    ) -> None:
        self._workspace = workspace
        self._config = config
        self._progress = progress
        self._keep = keep
        self._wait_seconds = wait_seconds
        self._stack = ExitStack()
        self._session: RefreshSession | None = None
        self._recorded: RecordedRun | None = None
        self._context: dg.AssetExecutionContext | None = None
        self._plan: Plan | None = None
        self.in_full = in_full

    @property
    def plan(self) -> Plan:
        """What the run does; known once the session is open."""
        assert self._plan is not None
        return self._plan

    def opened(self, context: dg.AssetExecutionContext) -> RefreshSession:
        """The session of this run.

        Raises:
            LimeledgerError: the workspace or the run's configuration is wrong, another run does
                not end, or the run is refused; nothing was written.
        """
        if self._session is None:
            progress = self._progress or context.log.info
            opened = Workspace.open(self._workspace)
            day, wrong = day_or_fault(context, self._config, opened)
            self._recorded = self._stack.enter_context(
                recorded_run(opened, run_of(context.run, day), executing_process(context))
            )
            self._context = context
            try:
                if wrong is not None:
                    raise wrong
                tag_day(context, day)
                refuse_lost_desk(opened, load_settings(opened))
                bring_up(opened)
                session = self._open(day, progress, context.run.run_id)
                settle(opened.root, alone=True)
                self._tag(context, session)
                self._session, self._plan = session, _planned(context, session)
            except BaseException as error:
                self._recorded.ends(ended_by(error, opened))
                raise
            if self._plan.is_current:
                progress("Nothing is new: all that is selected is already of these inputs.")
        return self._session

    def close(self) -> None:
        """Closes the session where it was opened, and puts down how the run ended."""
        session, recorded, context = self._session, self._recorded, self._context
        try:
            if session is not None and recorded is not None and context is not None:
                session.close_view()
                is_whole = recorded.run.selection == ALL
                if is_whole and session.is_published and session.failure is None:
                    with contextlib.suppress(OSError):
                        remove_leftovers(session.inputs.workspace)
                if recorded.is_ours and (ended := end_of(context, session, is_whole)) is not None:
                    recorded.ends(ended)
        except Exception as error:  # Dagster passes over what ends a resource
            if recorded is not None and session is not None:
                recorded.ends(ended_by(error, session.inputs.workspace))
            raise
        finally:
            self._stack.close()

    def _open(self, as_of: str | None, progress: Callable[[str], None], run: str) -> RefreshSession:
        until = time.monotonic() + self._wait_seconds
        while True:
            try:
                session = self._stack.enter_context(
                    open_session(self._workspace, as_of, progress, run, STORE_TABLES)
                )
            except BusyError as error:
                if time.monotonic() >= until:
                    raise
                progress(f"Waiting: {error}")
                time.sleep(min(LOOK_AGAIN_SECONDS, self._wait_seconds))
            else:
                if self._keep is not None:
                    self._keep(session)
                return session

    def _tag(self, context: dg.AssetExecutionContext, session: RefreshSession) -> None:
        """Puts down of what the run is; refuses what its parent, or it itself, read otherwise."""
        run, instance = context.run, context.instance
        known = instance.get_run_by_id(run.run_id)
        tags = known.tags if known else run.tags
        parent = instance.get_run_by_id(run.parent_run_id) if run.parent_run_id else None
        before = tags.get(STATE_TAG)
        # A repetition of all steps reads everything again: only of a part the rest must fit.
        if before is None and parent is not None and run.step_keys_to_execute is not None:
            before = parent.tags.get(STATE_TAG)
        if before is not None and before != session.state.state:
            raise RefusedError(
                "The inputs are no longer those that this run, or the one that it repeats, has "
                "read: exports, mappings, reference files, terms, settings, a recorded ruling or "
                "the tool have changed since. Nothing was written. Start a new run, which reads "
                f"what lies there now: `limeledger refresh {session.inputs.workspace.root}`."
            )
        own_tags = {AS_OF_TAG: session.state.as_of.isoformat(), STATE_TAG: session.state.state}
        if any(tags.get(key) != value for key, value in own_tags.items()):
            instance.add_run_tags(run.run_id, own_tags)


def _planned(context: dg.AssetExecutionContext, session: RefreshSession) -> Plan:
    keys = context.job_def.asset_layer.executable_asset_keys
    selected = {key.to_user_string() for key in keys}
    return plan(session, selected, context.run.step_keys_to_execute)


def session_resource(
    workspace: str,
    as_of: str | None = None,
    progress: Callable[[str], None] | None = None,
    keep: Keep | None = None,
    wait_seconds: float = 0.0,
    in_full: bool = True,
) -> dg.ResourceDefinition:
    """A resource that opens one session a run, which `keep` is handed.

    It waits for another run up to `wait_seconds`. Run configuration may set another as-of day.
    """

    @dg.resource(
        config_schema=dg.Field(
            dg.Permissive(  # type: ignore[no-untyped-call]
                {
                    "as_of": dg.Field(
                        dg.Noneable(str),
                        is_required=False,
                        description="Decide as of this day, YYYY-MM-DD; empty for today.",
                    )
                }
            ),
            is_required=False,
            default_value={},
        ),
        description="The workspace, its checked inputs and the working copy of the store.",
    )
    def session(context: dg.InitResourceContext) -> Iterator[Opener]:
        given = dict(context.resource_config or {})
        if in_full and context.instance is not None:
            observe(context.instance, workspace)  # before the first step is put down as begun
        config = given if given.get("as_of") is not None else {**given, "as_of": as_of}
        opener = Opener(workspace, config, progress, keep, wait_seconds, in_full)
        try:
            yield opener
        finally:
            opener.close()

    return session
