"""`limeledger check`: what would be set aside and why; writes nothing."""

from __future__ import annotations

import argparse
from typing import Any

from pipelines.cli.console.arguments import takes_as_of, takes_workspace
from pipelines.cli.console.output import print_json, progress, say
from schemas.wording import counted

HELP = "Read and validate everything; say what would be set aside. Write nothing."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    takes_as_of(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.check import checked

    return checked()


def run(args: argparse.Namespace) -> int:
    """Reads and validates everything, and tells it grouped by what a person can mend."""
    from pipelines.queries.checking import check_workspace
    from pipelines.records.problems import ends_in_words, ends_of_mappings

    report = check_workspace(args.workspace, args.as_of, progress)
    if args.json:
        print_json(report.to_dict())
        return report.exit_code
    totals = report.totals
    say(
        f"{counted(totals['rows_read'], 'row')} in {counted(totals['files'], 'file')}: "
        f"{ends_in_words(totals)}"
        f"{ends_of_mappings(totals)}."
    )
    for problem in report.problems:
        say(f"{problem['feed'] or 'no feed'}: {problem['sentence']}")
        if problem["remedy"]:
            say(f"    {problem['remedy']}")
    for left in report.left_out:
        summary = f"{counted(left['rows'], 'row')} left out by {left['mapping']}: {left['reason']}"
        say(f"{left['feed']}: {summary}.")
    for sentence in report.unused:
        say(sentence)
    for absent in report.absent_headers:
        say(f"{absent['file']}: {absent['sentence']}")
    for sentence in report.attention:
        say(sentence)
    for near in report.suggestions:
        say(
            f"{near['feed']}: serial {near['serial']} ({near['file']} line {near['line']}) is on "
            f"no register; {near['suggestion']} is one character away."
        )
    for near in report.claim_suggestions:
        say(
            f"{near['feed']}: claim {near['claim']} ({near['file']} line {near['line']}) is on "
            f"file nowhere; {near['suggestion']} is one character away."
        )
    for feed in report.feeds:
        through = feed["through_date"] or "no day"
        say(f"{feed['feed']}: complete to {through}{', stale' if feed['stale'] else ''}.")
    say("Nothing was written.")
    return report.exit_code
