"""`limeledger map`: a draft of a mapping for one export; applies nothing."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say
from pipelines.errors import NotFoundError, UsageError
from schemas.codes import FEEDS

HELP = "Draft a mapping for an export, with the reason for each guess."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("file", metavar="FILE")
    parser.add_argument("--feed", required=True, metavar="FEED")
    takes_workspace(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import codes
    from schemas import json_schema as js

    return js.record(
        {
            "feed": js.word("The feed.", codes.FEEDS),
            "file": js.text("The export for which it was drafted."),
            "mapping": js.text("The draft, as TOML with its reasons as comments."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Prints the draft; the person reads it, edits it and puts it into mappings/."""
    from pipelines.exports.sheets import read_sheet
    from pipelines.exports.text_rows import read_rows
    from pipelines.records.draft import draft_mapping
    from schemas.columns import column_names
    from schemas.feeds import FEED_TABLES

    if args.feed not in FEEDS:
        raise UsageError(f'"{args.feed}" is no feed; choose one of {", ".join(FEEDS)}.')
    path = Path(args.file)
    if not path.is_file():
        raise NotFoundError(f"There is no file {path}; name an export to draft a mapping for.")
    if path.suffix.casefold() == ".xlsx":
        reading = read_sheet(path)
    else:
        reading = read_rows(path, known_names=column_names(FEED_TABLES[args.feed]))
    draft = draft_mapping(args.feed, reading)
    if args.json:
        print_json({"feed": args.feed, "file": str(path), "mapping": draft})
    else:
        say(draft)
    return 0
