"""`limeledger doctor`: what is wrong with a workspace, and the way out.

It writes nothing but the note of a killed run.
"""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say

_WORDS = {"fault": "Fault", "warning": "Look", "note": "Note"}

HELP = "Tell what is wrong with a workspace, and the way out."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js

    finding = js.record(
        {
            "weight": js.word(
                "`fault`: the next refresh fails, or nothing here is reliable.",
                tuple(_WORDS),
            ),
            "matter": js.text("What it is about, in a word.", "^[a-z][a-z -]*$"),
            "sentence": js.text("What is the case."),
            "remedy": js.text("What to do; empty where the sentence says it."),
        }
    )
    return js.record(
        {
            "workspace": js.text("The workspace."),
            "looked_at": js.moment_with_offset("When it was looked over."),
            "findings": js.listing("What was found, the heaviest first.", finding),
            "exit_code": js.integer("0 nothing; 1 look; 2 there are faults.", most=2),
        }
    )


def run(args: argparse.Namespace) -> int:
    """Tells the findings, the heaviest first."""
    from pipelines.nightly.health.report import diagnose

    report = diagnose(args.workspace)
    if args.json:
        print_json(report.to_dict())
        return report.exit_code
    for finding in report.findings:
        say(f"{_WORDS[finding.weight]} ({finding.matter}): {finding.sentence}")
        if finding.remedy:
            say(f"    {finding.remedy}")
    say(
        {
            0: "Nothing is wrong.",
            1: "The next refresh can run; something needs a person.",
            2: "There are faults: mend them as told, and rely on nothing before.",
        }[report.exit_code]
    )
    return report.exit_code
