"""`limeledger appeal`: records that an agency appealed."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Record an appeal: the claim is open again until the next ruling."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    takes_workspace_and_actor(parser)
    parser.add_argument("--received", required=True, metavar="DATE", help="when it came")
    parser.add_argument("--reason", required=True, metavar="TEXT", help="what it says")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import on_claim
    from schemas import json_schema as js

    return js.record(
        on_claim()
        | {
            "received_on": js.day("When it came."),
            "reason": js.text("What it says."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Appends the appeal."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.appeal(
            desk,
            desk.workspace,
            caller_of(desk, args),
            claim=args.claim.strip(),
            received_on=args.received,
            reason=args.reason,
            expected_version="present",
        )
    if args.json:
        print_json(answer)
    teller(args.json)(
        f"The appeal on {answer['claim']} is recorded; what was decided holds until the next "
        "ruling."
    )
    return 0
