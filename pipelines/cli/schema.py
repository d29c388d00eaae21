"""`limeledger schema`: what the JSON of a command holds, as a JSON Schema."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.output import print_json, say
from pipelines.errors import UsageError

HELP = "Print the JSON Schema of a command's --json output, or which commands have one."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "of", nargs="?", metavar="COMMAND", help="the command (default: list those that have one)"
    )


def run(args: argparse.Namespace) -> int:
    """Prints one schema, or the names of the commands that have one, one a line."""
    if args.of is None:
        for name in described_commands():
            say(name)
        return 0
    if args.of not in described_commands():
        raise UsageError(
            f'"{args.of}" is no command with JSON; choose one of {", ".join(described_commands())}.'
        )
    print_json(schema_of(args.of))
    return 0


def described_commands() -> list[str]:
    """The commands whose output is described, in the order of the help."""
    from pipelines.cli.main import COMMANDS, module_of

    return [name for name in COMMANDS if hasattr(module_of(name), "output_schema")]


def schema_of(command: str) -> dict[str, Any]:
    """The whole schema of one command's output."""
    from pipelines.cli.main import module_of
    from schemas.json_schema import DIALECT

    return {
        "$schema": DIALECT,
        "$id": f"urn:limeledger:output:{command}",
        "title": f"limeledger {command} --json",
        **module_of(command).output_schema(),
    }
