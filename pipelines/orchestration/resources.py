"""The one resource: a refresh session, opened when a run starts and closed when it ends.

Belongs here: how a run gets its workspace and as-of date. Does not belong here: what a session is
(`pipelines.store.transaction`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import dagster as dg

from pipelines.errors import BusyError
from pipelines.nightly.recorded_run import recorded_run
from pipelines.orchestration.run_lines import end_of, run_of
from pipelines.store.transaction import RefreshSession, open_session
from pipelines.workspace.layout import Workspace

SESSION = "session"
LOOK_AGAIN_SECONDS = 5.0


def session_resource(
    workspace: str,
    as_of: str | None = None,
    progress: Callable[[str], None] | None = None,
    keep: Callable[[RefreshSession], None] | None = None,
    wait_seconds: float = 0.0,
) -> dg.ResourceDefinition:
    """A resource that opens one refresh session a run; `keep` is handed the open session.

    Where another refresh is running, the run waits for it up to `wait_seconds`. Run configuration
    may set another as-of date: `resources: session: config: as_of: DATE`.
    """

    @dg.resource(
        config_schema={
            "as_of": dg.Field(
                dg.Noneable(str),
                is_required=False,
                default_value=as_of,
                description="Decide as of this day, YYYY-MM-DD; empty for today.",
            )
        },
        description="The workspace, its checked inputs and the working copy of the store.",
    )
    def session(context: dg.InitResourceContext) -> Iterator[RefreshSession]:
        told = progress or (context.log.info if context.log else print)
        day = context.resource_config["as_of"]
        with ExitStack() as stack:
            recorded = None
            if context.run is not None:  # a resource by itself is no run
                asked = run_of(context.run, day)
                recorded = stack.enter_context(recorded_run(Workspace.open(workspace), asked))
            opened = _opened(stack, workspace, day, told, wait_seconds)
            if keep is not None:
                keep(opened)
            yield opened
            if recorded is not None:
                recorded.ends(end_of(opened))

    return session


def _opened(
    stack: ExitStack,
    workspace: str,
    as_of: str | None,
    told: Callable[[str], None],
    wait_seconds: float,
) -> RefreshSession:
    until = time.monotonic() + wait_seconds
    while True:
        try:
            return stack.enter_context(open_session(workspace, as_of, told))
        except BusyError as error:
            if time.monotonic() >= until:
                raise
            told(f"Waiting: {error}")
            time.sleep(min(LOOK_AGAIN_SECONDS, wait_seconds))
