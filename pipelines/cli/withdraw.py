"""`limeledger withdraw`: takes back a ruling, a record or a correction."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, number, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Take back a ruling, a record or a correction, as if it had never been made."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("event", metavar="EVENT", type=number, help="the number of its event")
    takes_workspace_and_actor(parser)
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import made_ruling, withdrawn
    from schemas import json_schema as js

    return js.one_of([made_ruling(), withdrawn()])


def run(args: argparse.Namespace) -> int:
    """Appends the withdrawal."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.withdraw(
            desk,
            desk.workspace,
            caller_of(desk, args),
            event=args.event,
            reason=args.reason,
            expected_version="present",
        )
    if args.json:
        print_json(answer)
    teller(args.json)(f"Event {args.event} is withdrawn and counts as never made.")
    return 0
