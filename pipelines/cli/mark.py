"""`limeledger mark`: how far a letter has come."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, number, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Mark a letter as sent, answered, closed, or to be sent again."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("entry", metavar="ENTRY", type=number, help="the letter's number")
    parser.add_argument("state", metavar="STATE", help="sent, answered, closed or to_send")
    takes_workspace_and_actor(parser)
    parser.add_argument("--on", metavar="DATE", help="the day (default: the desk's day)")
    parser.add_argument("--note", metavar="TEXT", help="what is to be remembered of it")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.letter import marked

    return marked()


def run(args: argparse.Namespace) -> int:
    """Appends the change of state."""
    from pipelines.actions.letters import mark

    with desk_of(args) as desk:
        answer = mark(
            desk,
            desk.workspace,
            caller_of(desk, args),
            entry=args.entry,
            state=args.state,
            on=args.on,
            note=args.note,
        )
    if args.json:
        print_json(answer)
    state = answer["letters"][0]["state"].replace("_", " ")
    teller(args.json)(f"Letter {args.entry} is {state}.")
    return 0
