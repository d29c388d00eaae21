"""`limeledger hold`: keeps a claim off the worklist until a day."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Keep a claim off the worklist until a day."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    takes_workspace_and_actor(parser)
    parser.add_argument(
        "--until", required=True, metavar="DATE", help="the day on which it comes back; - ends it"
    )
    parser.add_argument("--reason", metavar="TEXT", help="why")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import on_claim
    from schemas import json_schema as js

    return js.record(
        on_claim()
        | {
            "until": js.or_null(js.day("The day on which it comes back; null: it is back.")),
            "reason": js.or_null(js.text("Why.")),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Appends the hold."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.hold(
            desk,
            desk.workspace,
            caller_of(desk, args),
            claim=args.claim.strip(),
            until=None if args.until == "-" else args.until,
            reason=args.reason,
            expected_version="present",
        )
    if args.json:
        print_json(answer)
    teller(args.json)(
        f"{answer['claim']} is held until {answer['until']}."
        if answer["until"]
        else f"{answer['claim']} is held no longer."
    )
    return 0
