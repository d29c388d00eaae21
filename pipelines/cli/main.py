"""The `limeledger` command: reads the call, hands it to one module of `pipelines.cli`.

Belongs here: the names of the commands, and turning errors into sentences and exit codes. Does not
belong here: arguments and work; each command brings its own, and imports what it needs when it
runs, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

from pipelines.cli.console.arguments import CommandParser
from pipelines.cli.console.faults import report_fault
from pipelines.cli.console.output import make_streams_fit, progress
from pipelines.errors import LimeledgerError, UsageError, is_fault
from pipelines.workspace import clock
from pipelines.workspace.stopping import listen, stops_as_such
from pipelines.workspace.threads import settle_threads

COMMANDS = (
    "demo",
    "new",
    "refresh",
    "check",
    "explain",
    "reproduce",
    "letter",
    "letters",
    "mark",
    "send",
    "month",
    "search",
    "rule",
    "approve",
    "withdraw",
    "appeal",
    "note",
    "assign",
    "hold",
    "enter",
    "correct",
    "audit",
    "user",
    "payments",
    "second-opinion",
    "advise",
    "map",
    "codes",
    "field",
    "agencies",
    "upcoming",
    "startups",
    "unit",
    "causes",
    "backup",
    "restore",
    "doctor",
    "what-if",
    "desk",
    "schema",
    "dagster",
)

_LONE = re.compile("[\ud800-\udfff]")  # what stands for a byte that is no UTF-8


def module_of(command: str) -> ModuleType:
    """The module that does a command: HELP, `add_arguments(parser)` and `run(args) -> int`.

    One that prints JSON also has `output_schema() -> dict`, and takes `--json`.
    """
    return importlib.import_module(f"pipelines.cli.{command.replace('-', '_')}")


def build_parser(only: str | None = None) -> argparse.ArgumentParser:
    """Every command with its arguments; `args.command` names the one that was called.

    `only` is a command whose arguments alone are wanted: reading those of all takes as long as
    many a command.
    """
    parser = argparse.ArgumentParser(
        prog="limeledger",
        description="Decides warranty claims on steam cookers from the exports in a workspace: "
        "is this failure covered, why, and what would settle it?",
        epilog="Exit codes: 0 done; 1 done, but something needs a person; 2 the call, the "
        "settings, a reference or a terms file is wrong; 3 another refresh is running; "
        "4 not found; 70 a fault of the tool itself or of its disk.",
    )
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", required=True, parser_class=CommandParser
    )
    for name in COMMANDS if only is None else (only,):
        module = module_of(name)
        command = commands.add_parser(name, help=module.HELP, description=module.HELP)
        if hasattr(module, "output_schema"):
            command.add_argument(
                "--json", action="store_true", help="machine-readable output on stdout"
            )
        module.add_arguments(command)
        command.add_argument(
            "--debug", action="store_true", help="show the traceback of a fault of the tool"
        )
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code."""
    listen()
    try:
        return _run(sys.argv[1:] if argv is None else list(argv))
    except KeyboardInterrupt:
        progress("Stopped. The store and the published pages are as they were.")
        return 130


def _run(words: list[str]) -> int:
    called = words[0] if words and words[0] in COMMANDS else None
    args = build_parser(called).parse_args(words)
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"
    make_streams_fit(for_programs=any(getattr(args, name, False) for name in ("json", "csv")))
    try:
        with stops_as_such():
            return _done(args)
    except LimeledgerError as error:
        progress(str(error))
        return error.exit_code
    except BaseException as error:
        if not is_fault(error):
            raise
        if (word := _no_text(*words, os.environ.get("PWD", ""))) is not None:
            progress(
                f"{word!a} holds bytes that are no UTF-8, which this command cannot take; write it "
                "otherwise, or give the file or folder another name."
            )
            return UsageError.exit_code
        if _is_here_gone():
            progress("The current folder is gone; change into one that is there, and call again.")
            return UsageError.exit_code
        return report_fault(error, args)


def _done(args: argparse.Namespace) -> int:
    clock.now()  # a moment that is given and is none ends every command alike
    if sys.flags.optimize > 1:  # tables and conditions are described in their docstrings
        raise UsageError(
            "Python leaves out texts that are published (-OO, or PYTHONOPTIMIZE=2); call it "
            "without that."
        )
    workspace = Path(args.workspace) if getattr(args, "workspace", None) is not None else None
    settle_threads(workspace)
    if workspace is not None:
        _settle(workspace)
    if getattr(args, "json", False) and getattr(args, "csv", None) is True:
        raise UsageError("--json and --csv together; choose one of them.")
    code: int = module_of(args.command).run(args)
    return code


def _no_text(*words: str) -> str | None:
    """The first word whose bytes are no text, as names of files may be."""
    return next((word for word in words if _LONE.search(word)), None)


def _is_here_gone() -> bool:
    """Whether somebody has removed the folder in which the command was called."""
    try:
        os.getcwd()
    except FileNotFoundError:
        return True
    return False


def _settle(workspace: Path) -> None:
    """Whatever runs next in a workspace finds what a killed refresh left untold."""
    if os.path.exists(workspace / "store" / "runs.jsonl"):  # else without the imports
        from pipelines.nightly.recorded_run import settle

        settle(workspace)


if __name__ == "__main__":
    sys.exit(main())
