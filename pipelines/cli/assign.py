"""`limeledger assign`: gives a claim to somebody."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller

HELP = "Give a claim to a user, or to nobody."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    parser.add_argument("to", metavar="TO", help="a sign-in name; - for nobody")
    takes_workspace_and_actor(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import on_claim
    from schemas import json_schema as js

    return js.record(
        on_claim() | {"to": js.or_null(js.text("Who has the claim now; null for nobody."))}
    )


def run(args: argparse.Namespace) -> int:
    """Appends the assignment."""
    from pipelines import actions

    with desk_of(args) as desk:
        answer = actions.assign(
            desk,
            desk.workspace,
            caller_of(desk, args),
            claim=args.claim.strip(),
            to=None if args.to == "-" else args.to,
            expected_version="present",
        )
    if args.json:
        print_json(answer)
    teller(args.json)(f"{answer['claim']} is with {answer['to'] or 'nobody'}.")
    return 0
