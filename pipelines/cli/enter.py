"""`limeledger enter`: a record that no export brought."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
from pipelines.errors import NotFoundError

if TYPE_CHECKING:
    from pipelines.actions import Caller
    from pipelines.events import Desk
    from pipelines.events.documents import Document

HELP = "Enter a record that came by mail or telephone: a row of a feed."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("feed", metavar="FEED", help="such as water_tests")
    parser.add_argument(
        "cells", metavar="COLUMN=VALUE", nargs="+", help="ISO dates, decimal points"
    )
    takes_workspace_as_option(parser)
    takes_actor(parser)
    parser.add_argument("--claim", metavar="CLAIM", help="the claim that it is entered for")
    parser.add_argument(
        "--document",
        metavar="FILE",
        action="append",
        default=[],
        help="a PDF, picture, workbook or text that it rests on; may be given several times",
    )
    parser.add_argument(
        "--settles", metavar="FILE:LINE", help="the set-aside row whose place it takes"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import entered

    return entered()


def run(args: argparse.Namespace) -> int:
    """Appends the record; claims that it bears on are decided again at once."""
    from pipelines import actions

    with desk_of(args) as desk:
        caller = caller_of(desk, args)
        place = None if args.settles is None else place_of("--settles", args.settles)
        answer = actions.enter(
            desk,
            desk.workspace,
            caller,
            feed=args.feed,
            values=cells_of(args.cells),
            claim=args.claim,
            kept=[_keep(desk, caller, path) for path in args.document],
            settles=None if place is None else {"file": place[0], "line": place[1]},
        )
    if args.json:
        print_json(answer)
    tell = teller(args.json)
    tell(f"Entered as event {answer['event']}; the tables hold it from the next refresh on.")
    tell_moved(answer["claims"], tell)
    return 0


def _keep(desk: Desk, caller: Caller, name: str) -> Document:
    """Keeps a document of the caller's, which the record names."""
    from pipelines.events.documents import keep_document

    path = Path(name)
    if not path.is_file():
        raise NotFoundError(f"There is no file {name}; check the path.")
    caller.require("document")
    with path.open("rb") as source:
        return keep_document(desk, source, path.name)
