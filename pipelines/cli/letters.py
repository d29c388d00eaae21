"""`limeledger letters`: the register of letters, each written into a folder as it was frozen."""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, teller
from pipelines.errors import UsageError
from pipelines.workspace.typed_days import day_if_typed
from schemas.codes import LETTER_STATES

if TYPE_CHECKING:
    from pipelines.workspace.settings import Settings

HELP = "List the register of letters, and write those to send into a folder."
ALL = "all"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument(
        "--state",
        choices=(*LETTER_STATES, ALL),
        default="to_send",
        help="letters in this state (default: to_send)",
    )
    parser.add_argument(
        "--out", metavar="FOLDER", help="write them there (default: outgoing in the workspace)"
    )
    parser.add_argument(
        "--since", metavar="DATE", help="letters about what became known as of this day or later"
    )
    parser.add_argument("--format", choices=("text", "html", "eml"), default="eml")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.letter import letters

    return letters()


def run(args: argparse.Namespace) -> int:
    """Lists entries and writes each that has a text; a file that is there stays as it is."""
    from dashboards.letters.files import entry_file
    from pipelines.actions.letters import entry_answer
    from pipelines.events import open_desk
    from pipelines.events.letters import read_register, read_texts
    from pipelines.steps.letter_register import bring_up
    from pipelines.store.lost_desk import refuse_lost_desk
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.settings import load_settings

    since = day_if_typed("--since", args.since)
    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    refuse_lost_desk(workspace, settings)
    bring_up(workspace)
    desk = open_desk(workspace, settings)
    try:
        with desk.reading() as connection:
            state = None if args.state == ALL else args.state
            register = read_register(desk, connection, state=state)
            rows = [row for row in register.rows.values() if since is None or row["as_of"] >= since]
            texts = read_texts(connection, register, [row["entry"] for row in rows])
    finally:
        desk.close()
    out = Path(args.out) if args.out else workspace.root / "outgoing"
    listed = []
    for row in rows:
        entry, frozen = entry_answer(row), texts.get(row["entry"])
        name = entry_file(row["entry"], row.get("claim") or row.get("serial") or "", args.format)
        listed.append({**entry, "file": name if frozen else None})
        if frozen:
            _write(out / name, _content(row, frozen, args.format, settings))
    if args.json:
        print_json({"folder": str(out), "letters": listed})
    _tell(listed, out, args)
    return 0


def _tell(listed: list[dict[str, Any]], out: Path, args: argparse.Namespace) -> None:
    say = teller(args.json)
    for row in listed if not args.json else ():
        about = row["claim"] or row["serial"] or ""
        gone = " (may have gone out)" if row["may_have_gone_out"] else ""
        to = row["email"] or "no address"
        state = row["state"].replace("_", " ")
        say(f"{row['entry']:>6}  {row['as_of']}  {row['kind']:<9}  {about}  {state}{gone}  {to}")
    written = sum(row["file"] is not None for row in listed)
    if not listed:
        say("There is no such letter; nothing was written.")
        return
    number = f"{len(listed):,} {'letter' if len(listed) == 1 else 'letters'}"
    say(f"{number}; {written:,} in {out}. Writing marks nothing as sent: `limeledger mark` does.")


def _content(row: dict[str, Any], frozen: dict[str, str], form: str, settings: Settings) -> bytes:
    """One frozen letter in one form."""
    from dashboards.letters.message import message_of

    if form in ("text", "html"):
        return frozen[form].encode("utf-8")
    made_at: dt.datetime = row["made_at"]
    digest_text = f"{row['entry']}\0{made_at}\0{frozen['text']}"
    message = message_of(
        frozen["subject"],
        frozen["text"],
        frozen["html"],
        maker=settings.maker,
        sender=settings.sender,
        to=(row.get("agency") or "", row.get("email")),
        written_at=made_at.replace(microsecond=0),
        digest=hashlib.sha256(digest_text.encode("utf-8", "surrogatepass")).hexdigest(),
    )
    message["X-Unsent"] = "1"
    return message.as_bytes()


def _write(path: Path, content: bytes) -> None:
    """Writes a file that is not there yet; one that is there is never replaced."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError:
        return
    except OSError as error:
        raise UsageError(
            f"{path} cannot be written ({error.strerror}); name another folder with --out."
        ) from None
