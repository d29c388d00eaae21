"""How commands act at the desk: who acts, on which day, and what is told of it.

Belongs here: what every command that acts shares. Does not belong here: any one action
(`pipelines.actions`).
"""

from __future__ import annotations

import argparse
import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import progress
from pipelines.errors import UsageError
from pipelines.workspace.layout import Workspace

if TYPE_CHECKING:
    from pipelines.actions import Caller
    from pipelines.events import Desk


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
    """The desk of the workspace that was named."""
    from pipelines.events import open_desk
    from pipelines.workspace.settings import load_settings

    workspace = Workspace.open(args.workspace)
    desk = open_desk(workspace, load_settings(workspace))
    for sentence in desk.damaged:
        progress(f"{sentence} It was not taken over and counts for nothing.")
    try:
        yield desk
    finally:
        desk.close()


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


def os_user() -> str:
    """The name of the operating system's user; its number where it has none."""
    import os

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return str(os.getuid())
