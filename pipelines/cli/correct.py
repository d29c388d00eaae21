"""`limeledger correct`: other values for a row that an export brought wrong."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import (
    caller_of,
    cells_of,
    desk_of,
    place_of,
    takes_actor,
    takes_workspace_as_option,
    tell_moved,
)
from pipelines.cli.console.output import print_json, teller

HELP = "Correct a row that an export brought wrong, wherever it comes again."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("feed", metavar="FEED", help="such as service_calls")
    parser.add_argument("place", metavar="FILE:LINE", help="the row, as it is cited")
    parser.add_argument(
        "cells", metavar="COLUMN=VALUE", nargs="+", help="the right value; empty to empty it"
    )
    takes_workspace_as_option(parser)
    takes_actor(parser)
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import corrected

    return corrected()


def run(args: argparse.Namespace) -> int:
    """Appends the correction; claims that it bears on are decided again at once."""
    from pipelines import actions

    file, line = place_of("FILE:LINE", args.place)
    with desk_of(args) as desk:
        answer = actions.correct(
            desk,
            desk.workspace,
            caller_of(desk, args),
            feed=args.feed,
            file=file,
            line=line,
            values=cells_of(args.cells),
            reason=args.reason,
        )
    if args.json:
        print_json(answer)
    tell = teller(args.json)
    tell(f"Corrected as event {answer['event']}; the tables hold it from the next refresh on.")
    tell_moved(answer["claims"], tell)
    return 0
