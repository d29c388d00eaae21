"""`limeledger send`: letters by mail."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import (
    caller_of,
    desk_of,
    number,
    takes_actor,
    takes_workspace_as_option,
)
from pipelines.cli.console.output import print_json, progress, teller

HELP = "Send letters to their agencies by mail."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "entry", metavar="ENTRY", type=number, nargs="+", help="the letters' numbers"
    )
    takes_workspace_as_option(parser)
    takes_actor(parser)
    parser.add_argument(
        "--one-mail-per-agency",
        action="store_true",
        help="one mail an agency, with its letters one after the other",
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.letter import sent

    return sent()


def run(args: argparse.Namespace) -> int:
    """Hands the mails over; exit code 1 where the server did not take one."""
    from pipelines.actions.sending import send_letters

    with desk_of(args) as desk:
        outcome = send_letters(
            desk,
            desk.workspace,
            caller_of(desk, args),
            letters=args.entry,
            one_mail_per_agency=args.one_mail_per_agency,
        )
    if args.json:
        print_json(outcome)
    say = teller(args.json)
    count = len(outcome["sent"])
    say(f"{count:,} {'letter was' if count == 1 else 'letters were'} sent.")
    for answer in outcome["answers"]:
        progress(f"The mail server did not take a mail: {answer}")
    for entry in outcome["refused"]:
        progress(f"Letter {entry} was not sent; it is still to be sent.")
    return 1 if outcome["refused"] else 0
