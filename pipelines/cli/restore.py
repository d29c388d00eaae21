"""`limeledger restore`: a workspace out of a backup."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipelines.cli.console.output import print_json, teller
from pipelines.errors import WorkspaceError

HELP = "Take a workspace out of a backup, all of it or nothing."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("file", metavar="FILE", help="an archive that backup wrote")
    parser.add_argument("folder", metavar="FOLDER", help="a folder that is new or empty")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js

    return js.record(
        {
            "folder": js.text("The workspace that was put in place."),
            "made_at": js.moment_with_offset("When the backup was made."),
            "host": js.text("The machine on which it was made."),
            "files": js.integer("Files put in place."),
            "size_bytes": js.integer("Their bytes."),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Puts the workspace in place and says what to do next."""
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.restore import restore_backup
    from pipelines.workspace.settings import load_settings
    from pipelines.workspace.stopping import stopped_by_hand

    folder = Path(args.folder)
    with stopped_by_hand():
        done = restore_backup(Path(args.file), folder)
    if args.json:
        print_json({"folder": str(folder.absolute()), **vars(done)})
    say = teller(args.json)
    say(
        f"{done.files:,} files, {done.size_bytes / 1e6:,.1f} MB, of the backup made at "
        f"{done.made_at} on {done.host} are in {folder}."
    )
    try:
        command = load_settings(Workspace.open(folder)).on_failure_command
    except WorkspaceError:
        command = ()
    if command:
        say(
            f"Its settings run {command[0]} when a refresh fails; "
            "see nightly.on_failure_command in limeledger.toml."
        )
    say(f"Next: `limeledger doctor {folder}`, then `limeledger refresh {folder}` for its pages.")
    return 0
