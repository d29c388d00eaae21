"""`limeledger note`: writes a note on a claim."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Write a note on a claim."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    parser.add_argument("text", metavar="TEXT", help="1 to 10,000 characters")
    takes_workspace_and_actor(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import on_claim
    from schemas import json_schema as js

    return js.record(on_claim() | {"text": js.text("The note.")})


def run(args: argparse.Namespace) -> int:
    """Appends the note."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.note(
            desk,
            desk.workspace,
            caller_of(desk, args),
            claim=args.claim.strip(),
            text=args.text,
        )
    if args.json:
        print_json(answer)
    teller(args.json)(f"Noted on {answer['claim']}.")
    return 0
