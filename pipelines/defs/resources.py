"""The one resource: a refresh session, opened when a run starts and closed when it ends.

Belongs here: how a run gets its workspace and as-of date. Does not belong here: what a session is
(`pipelines.refresh.session`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import dagster as dg

from pipelines.refresh.session import RefreshSession, open_session

SESSION = "session"


def session_resource(
    workspace: str,
    as_of: str | None = None,
    progress: Callable[[str], None] | None = None,
    keep: Callable[[RefreshSession], None] | None = None,
) -> dg.ResourceDefinition:
    """A resource that opens one refresh session a run; `keep` is handed the open session.

    Run configuration may set another as-of date: `resources: session: config: as_of: DATE`.
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
        with open_session(workspace, context.resource_config["as_of"], told) as opened:
            if keep is not None:
                keep(opened)
            yield opened

    return session
