"""`limeledger approve`: approves a ruling as the second person."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, number, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Approve a ruling that waits for a second person."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "event", metavar="EVENT", type=number, help="the number of the ruling's event"
    )
    takes_workspace_and_actor(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import made_ruling

    return made_ruling()


def run(args: argparse.Namespace) -> int:
    """Appends the approval."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.approve(
            desk,
            desk.workspace,
            caller_of(desk, args),
            event=args.event,
            expected_version="present",
        )
    if args.json:
        print_json(answer)
    teller(args.json)(f"The ruling on {answer['claim']} is approved by {answer['approved_by']}.")
    return 0
