"""`limeledger backup`: a workspace in one file."""

from __future__ import annotations

import argparse
import time
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import BusyError, LimeledgerError, UsageError

if TYPE_CHECKING:
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.settings import Settings

LOOK_AGAIN_SECONDS = 2.0

HELP = "Put a workspace into one file, with checksums."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("file", metavar="FILE", help="the archive to write (ZIP)")
    parser.add_argument(
        "--wait",
        type=float,
        default=3600.0,
        metavar="SECONDS",
        help="how long to wait for a refresh that is running (default: 3600)",
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js

    return js.record(
        {
            "file": js.text("The archive that was written."),
            "files": js.integer("Files in it."),
            "size_bytes": js.integer("Their bytes before they were packed."),
            "left_out": js.texts("What was left out and why, a sentence each."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Waits for a running refresh to end, then writes the archive; 1 where files were left out."""
    from pipelines.workspace.backup import write_backup
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.settings import load_settings
    from pipelines.workspace.stopping import stopped_by_hand

    if not args.wait >= 0:  # nor nan, which would wait for ever
        raise UsageError(f"--wait {args.wait} is no number of seconds; write 0 or more.")
    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    target = Path(args.file)
    with stopped_by_hand(), ExitStack() as stack:
        _hold(stack, workspace, args.wait)
        lost = _lost(workspace, settings)
        made = write_backup(workspace, settings.terms, target)
    made.left_out.extend(lost)
    if args.json:
        print_json({"file": str(target.absolute()), **vars(made)})
    say = teller(args.json)
    for sentence in made.left_out:
        say(sentence)
    if settings.desk.database:
        say(
            "The desk's database is on a server: back it up by PostgreSQL's own tools, such as "
            "pg_dump; its documents are in the archive."
        )
    say(
        f"{made.files:,} files, {made.size_bytes / 1e6:,.1f} MB, are in {target} "
        f"({target.stat().st_size / 1e6:,.1f} MB). "
        f"Take them out with `limeledger restore {target} FOLDER`."
    )
    return 1 if made.left_out else 0


def _lost(workspace: Workspace, settings: Settings) -> list[str]:
    """What people recorded and no archive of today can hold, where it was on no server."""
    from pipelines.store.lost_desk import lost_desk

    if settings.desk.database:
        return []
    with suppress(LimeledgerError):  # what cannot be read is told where it is copied
        if (sentence := lost_desk(workspace, settings)) is not None:
            return [f"{sentence} Keep the backups that have it."]
    return []


def _hold(stack: ExitStack, workspace: Workspace, wait_seconds: float) -> None:
    """Holds the workspace's lock, waiting for a refresh that has it."""
    from pipelines.workspace.lock import no_refresh_meanwhile

    until, announced = time.monotonic() + wait_seconds, False
    while True:
        try:
            stack.enter_context(no_refresh_meanwhile(workspace.store))
            return
        except BusyError as error:
            if time.monotonic() >= until:
                raise
            if not announced:
                progress(f"Waiting: {error}")
                announced = True
            time.sleep(min(LOOK_AGAIN_SECONDS, max(until - time.monotonic(), 0.01)))
