"""`limeledger rule`: records what a person decided on a claim, or on several."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of, takes_workspace_and_actor
from pipelines.cli.console.output import print_json, teller
from pipelines.errors import UsageError
from schemas.codes import RULINGS

SEVERAL = "-"

HELP = "Record what a person decided on a claim."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "claim", metavar="CLAIM", help="the claim; - reads claims from stdin, one a line"
    )
    parser.add_argument("ruling", metavar="RULING", help="covered, covered_in_part or not_covered")
    takes_workspace_and_actor(parser)
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why")
    parser.add_argument("--parts", metavar="AMOUNT", help="what is to be paid for parts")
    parser.add_argument("--labor", metavar="AMOUNT", help="what is to be paid for labor")
    parser.add_argument("--travel", metavar="AMOUNT", help="what is to be paid for travel")
    parser.add_argument("--at", metavar="WHEN", help="when it was decided (default: now)")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import made_ruling, made_rulings
    from schemas import json_schema as js

    return js.one_of([made_ruling(), made_rulings()])


def run(args: argparse.Namespace) -> int:
    """Appends rulings; they stand at once at the desk, and on the pages from the next refresh."""
    from pipelines import actions

    if args.ruling.strip().lower() not in RULINGS:
        raise UsageError(f'"{args.ruling}" is no ruling; choose one of {", ".join(RULINGS)}.')
    if not args.reason.strip():
        raise UsageError("--reason is empty; say why.")
    fields = {"ruling": args.ruling, "reason": args.reason, "ruled_at": args.at}
    amounts = {f"{line}_amount": getattr(args, line) for line in ("parts", "labor", "travel")}
    with desk_of(args) as desk:
        caller = caller_of(desk, args)
        if args.claim == SEVERAL:
            if any(amounts.values()):
                raise UsageError("Amounts are given for one claim at a time; rule on each alone.")
            claims = [{"claim": claim, "version": "present"} for claim in _claims()]
            answer = actions.rule_many(desk, desk.workspace, caller, claims=claims, **fields)
        else:
            answer = actions.rule(
                desk,
                desk.workspace,
                caller,
                claim=args.claim.strip(),
                expected_version="present",
                **fields,
                **amounts,
            )
        currency = desk.settings.currency
    if args.json:
        print_json(answer)
    tell = teller(args.json)
    for made in answer.get("rulings", [answer]):
        tell_ruling(made, currency, tell)
    return 0


def _claims() -> list[str]:
    """The claims on standard input."""
    claims = [line.strip() for line in sys.stdin.read().splitlines() if line.strip()]
    if not claims:
        raise UsageError("There is no claim on standard input; write one a line.")
    return claims


def tell_ruling(made: dict[str, Any], currency: str, tell: Callable[[str], None]) -> None:
    """What was recorded, in words."""
    granted = f"{float(made['granted']):,.2f} {currency} to be paid. " if made["granted"] else ""
    tell(
        f"Recorded: {made['claim']} is ruled {made['ruling'].replace('_', ' ')} by "
        f"{made['ruled_by']}; {granted}The pages and tables tell it from the next refresh on."
    )
    if made["state"] == "waiting":
        tell(
            "A second person has to approve it before it counts: "
            f"`limeledger approve {made['event']}`."
        )
    elif made["overruled_by"]:
        tell(f"It counts for nothing: {_words(made['overruled_by'])} was made after it.")
    elif made["replaces"]:
        tell(f"It replaces {_words(made['replaces'])}, which stays on file beside it.")


def _words(ruling: dict[str, Any]) -> str:
    return (
        f"the ruling {ruling['ruling'].replace('_', ' ')} by {ruling['ruled_by']} of "
        f"{ruling['ruled_at'][:16].replace('T', ' ')} ({ruling['reason']})"
    )
