"""`limeledger audit`: what people did, event by event."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import desk_of, number
from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say

HELP = "List the events of the desk: who did what, and when."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--claim", metavar="CLAIM", help="those of one claim alone")
    parser.add_argument(
        "--after", type=number, default=0, metavar="EVENT", help="those after an event alone"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import event_shape
    from schemas import json_schema as js

    return js.record({"events": js.listing("The events in their order.", event_shape())})


def run(args: argparse.Namespace) -> int:
    """Prints the events in their order."""
    from pipelines.actions.listing import audit

    with desk_of(args) as desk:
        answer = audit(desk, claim=args.claim, after=args.after)
    if args.json:
        print_json(answer)
        return 0
    for event in answer["events"]:
        about = " ".join(filter(None, [event["claim"], event["subject"]]))
        via = f"{event['via']}, {event['os_user']}" if event["os_user"] else event["via"]
        say(
            f"{event['event']:>6}  {event['at'][:19]}Z  {event['actor']} ({via}): "
            f"{event['kind']} {about}".rstrip()
        )
    if not answer["events"]:
        say("Nobody has done anything here yet.")
    return 0
