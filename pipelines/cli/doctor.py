"""`limeledger doctor`: what is wrong with a workspace, and the way out; writes nothing."""

from __future__ import annotations

import argparse

from pipelines.cli.console.arguments import takes_json, takes_workspace
from pipelines.cli.console.output import print_json, say

_WORDS = {"fault": "Fault", "warning": "Look", "note": "Note"}

HELP = "Tell what is wrong with a workspace, and the way out. Write nothing."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_json(parser)
    takes_workspace(parser)


def run(args: argparse.Namespace) -> int:
    """Tells the findings, the heaviest first."""
    from pipelines.nightly.health.report import diagnose

    found = diagnose(args.workspace)
    if args.json:
        print_json(found.to_dict())
        return found.exit_code
    for finding in found.findings:
        say(f"{_WORDS[finding.weight]} ({finding.matter}): {finding.sentence}")
        if finding.remedy:
            say(f"    {finding.remedy}")
    say(
        {
            0: "Nothing is wrong.",
            1: "The next refresh can run; something needs a person.",
            2: "The next refresh will fail until the faults are mended.",
        }[found.exit_code]
    )
    return found.exit_code
