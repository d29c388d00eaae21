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
    parser.add_argument(
        "--demo-mappings",
        action="store_true",
        help="lay out a sample company instead: raw exports of its own systems, and the mappings, "
        "aliases and reference files that read them",
    )


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
    from pipelines.store.help_files import renew_help
    from pipelines.workspace.create import create_workspace, fill_folder

    folder = Path(args.folder)
    if args.demo_mappings:
        import sample_data.second as second

        written = fill_folder(folder, second.workspace_files())
        day = second.AS_OF.isoformat()
        next_step = (
            f"Next: `limeledger check {folder} --as-of {day}`, then the same with `refresh`."
        )
    else:
        written = create_workspace(folder)
        next_step = (
            "Next: set the maker, time zone and currency in limeledger.toml, put the exports into "
            "exports/, and draft what is lacking: `limeledger map FILE` for each file that names "
            "its columns otherwise, `limeledger codes` for the reference files. Edit the terms, "
            "and run `limeledger check` there. README.md tells it step by step."
        )
    written = sorted([*written, *renew_help(folder)])
    if args.json:
        print_json({"folder": str(folder), "files": [str(path) for path in written]})
    say = teller(args.json)
    say(f"{len(written)} files written to {folder}.")
    say(next_step)
    return 0
