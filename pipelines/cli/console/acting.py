"""How commands act at the desk: who acts, on which day, and what is told of it.

Belongs here: what every command that acts shares. Does not belong here: any one action
(`pipelines.actions`).
"""

from __future__ import annotations

import argparse
import getpass
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import progress
from pipelines.errors import UsageError
from pipelines.workspace.layout import Workspace

if TYPE_CHECKING:
    from pipelines.actions import Caller
    from pipelines.events import Desk

_PATHS = ("workspace", "document", "csv", "xlsx")  # as the operating system has them
_MOST_DIGITS = 18


def takes_actor(parser: argparse.ArgumentParser) -> None:
    """Who acts, and the desk's day."""
    parser.add_argument(
        "--by", required=True, metavar="WHO", help="who acts: a user's sign-in name or name"
    )
    parser.add_argument(
        "--as-of",
        metavar="DATE",
        help="the desk's day, YYYY-MM-DD (default: today in the workspace's time zone)",
    )


def takes_workspace_as_option(parser: argparse.ArgumentParser) -> None:
    """The workspace as `--in`, for commands whose arguments are many."""
    parser.add_argument(
        "--in",
        dest="workspace",
        default=".",
        metavar="WS",
        help="the workspace folder (default: the current folder)",
    )


def takes_workspace_and_actor(parser: argparse.ArgumentParser) -> None:
    """The workspace last, who acts, and the desk's day."""
    takes_workspace(parser)
    takes_actor(parser)


@contextmanager
def desk_of(args: argparse.Namespace) -> Iterator[Desk]:
    """The desk of the workspace that was named.

    Raises:
        UsageError: something typed is no text.
    """
    from pipelines.events import open_desk
    from pipelines.events.connecting import is_made
    from pipelines.store.lost_desk import refuse_lost_desk
    from pipelines.workspace.settings import load_settings

    refuse_no_text(args)
    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    if not is_made(workspace):  # else a refresh tells, which need not be quick
        refuse_lost_desk(workspace, settings)
    desk = open_desk(workspace, settings)
    for sentence in desk.damaged:
        progress(f"{sentence} It was not taken over and counts for nothing.")
    try:
        yield desk
    finally:
        desk.close()


def refuse_no_text(args: argparse.Namespace) -> None:
    """Refuses bytes that are no UTF-8 for anything but a path: nothing of that name is on file.

    Raises:
        UsageError: something typed is no text.
    """
    from pipelines.actions.values import UNSOUND, is_sound

    for name, given in vars(args).items():
        for value in given if isinstance(given, list) else [given]:
            if name not in _PATHS and isinstance(value, str) and not is_sound(value):
                raise UsageError(f"What is typed for {name} {UNSOUND}")


def number(text: str) -> int:
    """The number of an event or a letter, as an argument."""
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS):
        raise argparse.ArgumentTypeError(f'"{text}" is no number of an event or a letter')
    return int(text)


def caller_of(desk: Desk, args: argparse.Namespace) -> Caller:
    """Who acts by a command: a user, or anyone while the desk has none.

    Raises:
        UsageError: nobody is named.
        Refused: there are users, and this is none of them.
    """
    from pipelines.actions import Caller
    from pipelines.actions.users import acting_user
    from pipelines.store.inputs import as_of_date

    who = args.by.strip()
    if not who:
        raise UsageError("--by is empty; say who.")
    day = as_of_date(args.as_of, desk.settings)
    user = acting_user(desk, who)
    if user is None:
        return Caller(who, who, None, "command", day, os_user())
    return Caller(user.user, user.name, user.role, "command", day, os_user())


def cells_of(given: Sequence[str]) -> dict[str, str]:
    """Columns and values typed as COLUMN=VALUE.

    Raises:
        UsageError: one has no equals sign, or a column is given twice.
    """
    cells: dict[str, str] = {}
    for one in given:
        name, sign, value = one.partition("=")
        if not sign or not name.strip():
            raise UsageError(f'"{one}" is no COLUMN=VALUE; write it as ph=7.1.')
        if name.strip() in cells:
            raise UsageError(f"{name.strip()} is given twice; give it once.")
        cells[name.strip()] = value
    return cells


def place_of(name: str, given: str) -> tuple[str, int]:
    """A file and a line typed as FILE:LINE.

    Raises:
        UsageError: it is none.
    """
    file, sign, line = given.rpartition(":")
    if not sign or not file or not line.isdecimal():
        raise UsageError(f'{name} "{given}" is no file and line; write it as calls.csv:12.')
    return file, int(line)


def tell_moved(claims: Sequence[dict[str, Any]], tell: Callable[[str], None]) -> None:
    """Which claims come out otherwise now."""
    moved = 0
    for one in claims:
        before, after = (
            one[side]["verdict"].replace("_", " ") if one[side] else "not on file"
            for side in ("before", "after")
        )
        if before != after:
            moved += 1
            tell(f"{one['claim']}: {before} before, {after} now.")
    if claims and not moved:
        count = f"{len(claims)} claims" if len(claims) > 1 else "One claim"
        tell(f"{count} looked at again; no verdict moves.")


def os_user() -> str:
    """The name of the operating system's user; its number where it has none."""
    import os

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return str(os.getuid())
