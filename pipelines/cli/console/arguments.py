"""What is typed: the parser of a command, arguments that several commands take, days, files.

Belongs here: how arguments are read. Does not belong here: which arguments a command has; each
brings its own.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipelines.errors import UsageError


class CommandParser(argparse.ArgumentParser):
    """A parser of one command that takes positional arguments and options in any order.

    argparse itself gives an optional positional argument (the workspace) its default as soon as
    the ones before it are read, and then refuses it behind the options.
    """

    _is_intermixed = False

    def parse_known_args(  # type: ignore[override] # typeshed gives four overloads
        self, args: Sequence[str] | None = None, namespace: Any = None
    ) -> tuple[Any, list[str]]:
        """As argparse does, but for the order; behind `--` words come in argparse's own."""
        # argparse's method for any order comes back to this one, and loses the mark `--`.
        # One that has commands of its own leaves the order to those.
        has_commands = self._subparsers is not None
        if self._is_intermixed or has_commands or "--" in (args or ()):
            return super().parse_known_args(args, namespace)
        self._is_intermixed = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._is_intermixed = False


def takes_csv(parser: argparse.ArgumentParser) -> None:
    """`--csv`, for a command that lists a table."""
    parser.add_argument("--csv", action="store_true", help="CSV on stdout")


def takes_workspace(parser: argparse.ArgumentParser) -> None:
    """The workspace, the last of the positional arguments."""
    parser.add_argument(
        "workspace",
        nargs="?",
        default=".",
        metavar="WS",
        help="the workspace folder (default: the current folder)",
    )


def takes_as_of(parser: argparse.ArgumentParser) -> None:
    """The day as of which claims are decided."""
    parser.add_argument(
        "--as-of",
        metavar="DATE",
        help="decide as of this day, YYYY-MM-DD (default: today in the workspace's time zone)",
    )


def write_file(path: Path, content: str | bytes) -> None:
    """Writes a file that the caller named.

    Raises:
        UsageError: it cannot be written there.
    """
    raw = content if isinstance(content, bytes) else content.encode("utf-8")
    try:
        path.write_bytes(raw)
    except OSError as error:
        raise UsageError(
            f"{path} cannot be written ({error.strerror}); name a file in a folder that is there."
        ) from None
