"""`limeledger unit`: one unit, from its sale to its last claim."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, say
from pipelines.workspace.layout import Workspace

HELP = "Tell one unit: start-ups with reviews, tests, treatment, calls, claims, letters."
_WORDS = {
    "met": "The start-up was asked for in time.",
    "unmet": "The start-up was not asked for in time.",
    "unknown": "It is not known whether the start-up was asked for in time.",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("serial", metavar="SERIAL")
    takes_workspace(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.unit import unit

    return unit()


def run(args: argparse.Namespace) -> int:
    """Tells the unit as of the last refresh."""
    from pipelines.queries.unit_life import unit_life

    life = unit_life(Workspace.open(args.workspace), args.serial)
    if args.json:
        print_json(life)
    else:
        _tell(life)
    return 0


def _tell(life: Mapping[str, Any]) -> None:
    unit, journey, advised = life["unit"], life["journey"], life["recommendation"]
    place = ", ".join(filter(None, (unit["site"], unit["region"]))) or "no site"
    end = unit["coverage_end"]
    cover = f"cover ends {end}" if end else "no terms in force"
    say(f"{life['serial']}, {unit['model']} ({unit['family']}), {place}; {cover}.")
    if journey and journey["requested_in_time"]:
        say(_WORDS[journey["requested_in_time"]])
    say("")
    for event in life["events"]:
        say(f"{event['day']}  {event['event']} ({event['feed']} {event['key']})")
    for startup in life["startups"]:
        review = startup["review"]
        said = f"{review['result']}. {review['sentence']}" if review else "not completed."
        say(f"Start-up {startup['report']} ({startup['agency'] or 'no agency'}): {said}")
        for finding in startup["findings"]:
            if finding["outcome"] != "sound":
                say(f"  {finding['sentence']}")
                if finding["outcome"] == "unsound" and finding["caution"]:
                    say(f"  {finding['caution']}")
    for test in life["tests"]:
        outside = [row["analyte"] for row in test["analytes"] if row["outside"]]
        said = f"outside the limits: {', '.join(outside)}" if outside else "within the limits"
        whole = "" if test["complete"] else ", incomplete"
        say(f"Sample {test['sample']} of {test['sampled_on']} ({test['point']}{whole}): {said}.")
    if advised:
        say(f"Treatment, {advised['state'].replace('_', ' ')}: {advised['sentence']}")
    for claim in life["claims"]:
        say(f"Claim {claim['claim']} of {claim['failed_on']}: {claim['standing']}.")
    for letter in life["letters"]:
        say(f"Letter {letter['entry']} ({letter['kind']}) of {letter['as_of']}: {letter['state']}.")
    for note in life["notes"]:
        say(f"Note on {note['claim']} by {note['by']}: {note['text']}")
