"""`limeledger demo`: the sample workspace, laid out and refreshed."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import Any

from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import UsageError

HELP = "Lay out the sample workspace, refresh it and say where the pages are."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("folder", nargs="?", default="limeledger-demo", metavar="FOLDER")
    parser.add_argument(
        "--desk", action="store_true", help="with three users and three days' work, and open it"
    )
    parser.add_argument(
        "--port", type=int, metavar="PORT", help="the desk's port (default: 8765; 0: a free one)"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.refresh import summary

    return summary()


def run(args: argparse.Namespace) -> int:
    """Lays the sample workspace into a new folder and refreshes it as of its own last day."""
    import sample_data
    from pipelines.cli.refresh import refresh
    from pipelines.orchestration.summary import tell
    from pipelines.workspace.layout import refuse_name

    folder = Path(args.folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(
            f"{folder} is there already and is not empty; name another folder, "
            f"or refresh it with `limeledger refresh {folder}`."
        )
    refuse_name(folder)
    progress(f"Laying out the sample workspace in {folder}")
    sample_data.lay_out(folder)
    summary = refresh(folder, sample_data.AS_OF.isoformat())
    if args.json:
        print_json(summary.to_dict())
    say = teller(args.json)
    tell(summary, say)
    say(
        f"The sample is complete to {sample_data.AS_OF}: refresh it again with "
        f"`limeledger refresh {folder} --as-of {sample_data.AS_OF}`."
    )
    if args.desk:
        return _open_desk(folder, sample_data.AS_OF, args)
    return 0  # what the sample wants a person to look at was planted there


def _open_desk(folder: Path, day: date, args: argparse.Namespace) -> int:
    """Lays out users and what they did, and serves the desk as of the sample's last day."""
    from pipelines.cli.desk import open_and_serve
    from pipelines.desk import rehearsal

    for user, name, role in rehearsal.PEOPLE:
        progress(f'Sign in as {user} ({name}, {role}) with the password "{rehearsal.PASSWORD}".')
    return open_and_serve(
        folder, None, args.port, day, as_json=args.json, prepare=rehearsal.rehearse
    )
