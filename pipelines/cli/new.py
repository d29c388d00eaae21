"""`limeledger new`: an empty workspace that loads as it is."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipelines.cli.console.output import print_json, teller

HELP = "Make an empty workspace: settings, terms to edit, headers, a README."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("folder", metavar="FOLDER")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js

    return js.record(
        {
            "folder": js.text("The new workspace."),
            "files": js.texts("The files that were written."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Writes the workspace and says what to do next."""
    from pipelines.workspace.create import create_workspace

    folder = Path(args.folder)
    written = create_workspace(folder)
    if args.json:
        print_json({"folder": str(folder), "files": [str(path) for path in written]})
    say = teller(args.json)
    say(f"{len(written)} files written to {folder}.")
    say(
        "Next: set the maker, time zone and currency in limeledger.toml, fill the reference files, "
        "edit the terms, put the exports into exports/, and run `limeledger check` there."
    )
    return 0
