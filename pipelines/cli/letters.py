"""`limeledger letters`: the letters of all that a morning decided, in one folder."""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, typed_day
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import UsageError

if TYPE_CHECKING:
    from pipelines.steps.letters import StoredLetters

HELP = "Write the letters of all that the last refresh decided."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument(
        "--out", metavar="FOLDER", help="write them there (default: outgoing/DAY in the workspace)"
    )
    parser.add_argument(
        "--since", metavar="DATE", help="all that was decided or ruled as of this day or later"
    )
    parser.add_argument("--format", choices=("text", "html", "eml"), default="eml")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.letter import letters

    return letters()


def run(args: argparse.Namespace) -> int:
    """Writes the letters of the last refresh, or since a day, whole or not at all."""
    from dashboards.letters.files import listed
    from pipelines.cli.letter import tell_if_behind
    from pipelines.steps.letters import letters_of_decisions

    since = typed_day("--since", args.since)
    stored = letters_of_decisions(args.workspace, since)
    tell_if_behind(stored, args.workspace)
    day = stored.inputs.as_of
    out = Path(args.out) if args.out else stored.inputs.workspace.root / "outgoing" / f"{day}"
    rows = list(listed(stored.values.to_dicts(), args.format))
    if rows:
        what = f"since {since}" if since else "of the last refresh"
        _write(out, stored, args.format, rows, f"Letters {what}, as of {day}")
    if args.json:
        folder = str(out) if rows else None
        print_json({"as_of": day, "folder": folder, "letters": rows,
                    "ruled_since": stored.ruled_since})  # fmt: skip
    say = teller(args.json)
    if rows:
        say(f"{len(rows):,} letters are in {out}; {out / 'index.html'} lists them.")
    else:
        say("No decision changed, so there is no letter to send; nothing was written.")
    if stored.ruled_since:
        progress(
            f"{len(stored.ruled_since):,} claims were ruled on since the last refresh and have no "
            f"letter: {', '.join(stored.ruled_since[:5])}. Refresh, then write theirs."
        )
        return 1
    return 0


def _write(
    out: Path, stored: StoredLetters, form: str, rows: list[dict[str, Any]], title: str
) -> None:
    """Writes all into a folder beside `out`, then puts it in its place."""
    from dashboards.letters.files import letter_file, write_list
    from pipelines.cli.letter import written
    from pipelines.store.publication import swap_folder

    if out.exists() and not _is_ours(out):
        raise UsageError(
            f"{out} holds other things than letters; name a folder that is new, empty, or of "
            "letters written before, which then make place."
        )
    made = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
        for letter in stored.values.to_dicts():
            path = made / letter_file(letter["claim"], form)
            path.write_bytes(written(letter, stored, form))
        write_list(made, rows, title, stored.inputs.settings.currency)
        os.chmod(made, 0o755)
        swap_folder(made, out)
    except OSError as error:
        raise UsageError(
            f"{out} cannot be written ({error.strerror}); name another folder with --out."
        ) from None
    finally:
        if made is not None:
            shutil.rmtree(made, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    from dashboards.letters.files import LIST

    return folder.is_dir() and ((folder / LIST).is_file() or not any(folder.iterdir()))
