"""`limeledger reproduce`: decides again what was published, from the archive alone."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say
from pipelines.errors import UsageError
from pipelines.workspace.layout import Workspace

HELP = "Decide again what was published then, from the archive alone, and tell what differs."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", nargs="?", metavar="CLAIM", help="one claim; or --all")
    takes_workspace(parser)
    parser.add_argument("--all", action="store_true", help="every claim that stood then")
    parser.add_argument(
        "--decided", required=True, metavar="DAY", help="as published by the end of this day"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.past import reproduction

    return reproduction()


def run(args: argparse.Namespace) -> int:
    """Tells whether the same comes out: 0 where it does, 1 where anything differs."""
    from pipelines.queries.past_days import past_day
    from pipelines.queries.reproduction import reproduce

    claim, folder = _claim_and_workspace(args)
    workspace = Workspace.open(folder)
    reproduction = reproduce(workspace, past_day("--decided", args.decided, workspace), claim)
    if args.json:
        print_json(reproduction.to_dict())
    elif not reproduction.differs:
        say("same")
    else:
        for one in reproduction.differs:
            say(f"{one.claim}: {one.what}: then {one.then}, now {one.now}")
    return 1 if reproduction.differs else 0


def _claim_and_workspace(args: argparse.Namespace) -> tuple[str | None, str]:
    """The claim, None for all, and the workspace: with --all the one word is the workspace."""
    if not args.all:
        if args.claim is None:
            raise UsageError("Name a claim, or write --all for every claim.")
        return args.claim, args.workspace
    if args.claim is None:
        return None, args.workspace
    if args.workspace != ".":
        raise UsageError(f"--all means every claim; leave {args.claim} out, or --all.")
    return None, args.claim
