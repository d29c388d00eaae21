"""`limeledger search`: claims, units, agencies, sites and rows that are no records."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.acting import refuse_no_text
from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, teller
from pipelines.workspace.layout import Workspace
from schemas.wording import counted

HELP = "Search claims, units, agencies, sites, and rows that were set aside or superseded."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("text", metavar="TEXT", help="a number or name, however it is typed")
    takes_workspace(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.desk.search_shape import search_results

    return search_results()


def run(args: argparse.Namespace) -> int:
    """Searches the store of the last refresh."""
    from pipelines.queries.search import search_store

    refuse_no_text(args)
    matches = search_store(Workspace.open(args.workspace), args.text)
    if args.json:
        print_json(matches)
        return 0
    say = teller(False)
    for row in matches["results"]:
        names = ("claim", "call", "serial", "agency", "site", "verdict")
        parts = [row[name] for name in names if row[name]]
        place = f"{row['file']}, line {row['line']}" if row["file"] else ""
        say("  ".join([row["kind"].replace("_", " "), *parts, place]).rstrip())
        if row["kind"] in ("set_aside", "superseded") and row["reason"]:
            say(f"    {row['reason']}")
    count, total = len(matches["results"]), matches["total"]
    say(f"{count:,} of {counted(total, 'result')}." if total else "Nothing matches.")
    return 0
