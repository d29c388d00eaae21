"""`limeledger desk`: the pages as a web application in which people act."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import progress, say
from pipelines.errors import UsageError
from pipelines.workspace.layout import Workspace
from pipelines.workspace.typed_days import day_if_typed

if TYPE_CHECKING:
    from pipelines.desk.site import DeskSite

HELP = "Open the desk: the pages as a web application in which people act."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--host", metavar="HOST", help="where it is reached (default: 127.0.0.1)")
    parser.add_argument(
        "--port", type=int, metavar="PORT", help="its port (default: 8765; 0: a free one)"
    )
    parser.add_argument(
        "--as-of", metavar="DATE", help="fix the desk's day, for a rehearsal (default: today)"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js

    return js.record({"url": js.text("Where the desk is reached.")})


def run(args: argparse.Namespace) -> int:
    """Serves the desk until it is told to end."""
    as_of = day_if_typed("--as-of", args.as_of)
    return open_and_serve(args.workspace, args.host, args.port, as_of, as_json=args.json)


def open_and_serve(
    folder: str | Path,
    host: str | None,
    port: int | None,
    as_of: date | None,
    *,
    as_json: bool,
    prepare: Callable[[DeskSite], None] | None = None,
) -> int:
    """Opens the desk of a workspace and serves it; `prepare` is called before that."""
    from pipelines.actions.users import has_users
    from pipelines.desk import serving
    from pipelines.desk.site import site_of
    from pipelines.events import open_desk
    from pipelines.store.lost_desk import refuse_lost_desk
    from pipelines.workspace.permissions import private_umask
    from pipelines.workspace.settings import load_settings

    workspace = Workspace.open(folder)
    settings = load_settings(workspace)
    host = host or settings.desk.host
    port = settings.desk.port if port is None else port
    if not 0 <= port <= 65_535:
        raise UsageError(f"--port {port} is no port; choose one from 1 to 65535, or 0 for any.")
    serving.check_host(host, settings)
    with private_umask(settings.readable_by), serving.listening(host, port) as listener:
        refuse_lost_desk(workspace, settings)
        desk = open_desk(workspace, settings)
        try:
            with serving.alone(workspace, settings):
                url = serving.address_of(host, listener.getsockname()[1], settings)
                if prepare is not None:
                    prepare(site_of(desk, host=host, as_of=as_of))
                invitation = None if has_users(desk) else serving.new_invitation()
                site = site_of(desk, host=host, as_of=as_of, invitation=invitation)

                def ready() -> None:
                    if invitation:
                        progress(
                            "The desk has no user yet. Make the first administrator at "
                            f"{url}first-administrator?token={invitation}"
                        )
                    if public := settings.desk.public_url:
                        progress(f"People reach it at {public}")
                    say(json.dumps({"url": url}) if as_json else f"The desk is at {url}")

                serving.serve(site, listener, ready)
        finally:
            desk.close()
    return 0
