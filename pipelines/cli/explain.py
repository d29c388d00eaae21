"""`limeledger explain`: one claim with every finding, its evidence, and what is short."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, say
from pipelines.errors import NotFoundError, UsageError
from pipelines.workspace.layout import Workspace

if TYPE_CHECKING:
    from pipelines.queries.explanation import Explanation
    from pipelines.queries.past_explanation import PastExplanation

LINES = ("parts", "labor", "travel")
_MARKS = {
    "met": "✓",
    "unmet": "✗",
    "unknown": "?",
    "disputed": "!",
    "not_needed": "–",
    "not_evaluated": "·",
}

HELP = "Explain one claim: verdict, money, findings, evidence, what is short."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    takes_workspace(parser)
    parser.add_argument(
        "--html", metavar="FILE", help="write the claim's page as one file, also where it has none"
    )
    parser.add_argument(
        "--decided", metavar="DAY", help="as published by the end of this day, beside today's"
    )
    parser.add_argument(
        "--as-of", metavar="DAY", help="decide it again as of this day, under today's terms"
    )
    parser.add_argument(
        "--known", metavar="DAY", help="with --as-of: from what had arrived by the end of this day"
    )


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.past import explanations

    return explanations()


def run(args: argparse.Namespace) -> int:
    """Tells one claim as of the last refresh, with rulings recorded since."""
    from pipelines.queries.explanation import explain_claim
    from pipelines.store.reading import no_such_claim

    workspace = Workspace.open(args.workspace)
    if any(day is not None for day in (args.decided, args.as_of, args.known)):
        return _of_another_day(args, workspace)
    if args.html:
        _write_page(Path(args.html), workspace, args.claim)
        if not args.json:
            return 0
    explained = explain_claim(workspace, args.claim)
    if explained is None:
        from pipelines.queries.search import near_claims

        near = near_claims(workspace, args.claim)
        hint = f" Near it: {', '.join(near)}." if near else ""
        raise NotFoundError(no_such_claim(args.claim) + hint)
    if args.json:
        print_json(explained.to_dict())
    else:
        _tell(explained)
    return 0


def _of_another_day(args: argparse.Namespace, workspace: Workspace) -> int:
    """The claim as it was decided by a day, or as it is decided as of one."""
    from pipelines.queries.other_days import explain_as_of
    from pipelines.queries.past_days import past_day
    from pipelines.queries.past_explanation import explain_decided

    is_past, is_again = args.decided is not None, args.as_of is not None
    if args.html or is_past == is_again or (is_past and args.known is not None):
        raise UsageError(
            "Give --decided DAY, or --as-of DAY with or without --known DAY; neither goes with "
            "--html."
        )
    if is_past:
        past = explain_decided(
            workspace, args.claim, past_day("--decided", args.decided, workspace)
        )
        if args.json:
            print_json(past.to_dict())
        else:
            _tell_past(past)
        return 0
    as_of = past_day("--as-of", args.as_of, workspace)
    known = past_day("--known", args.known, workspace) if args.known is not None else None
    explained = explain_as_of(workspace, args.claim, as_of, known)
    if args.json:
        print_json(explained.to_dict() | {"known": known})
    else:
        _tell(explained)
    return 0


def _tell_past(past: PastExplanation) -> None:
    then = past.then
    say(
        f"Claim {past.claim} as published by {past.decided} (publication {then['publication']} of "
        f"{then['published_at']:%Y-%m-%d %H:%M} UTC, as of {then['as_of']}): "
        f"{_words(then['verdict'])}{_lead(then)}."
    )
    for finding in then["findings"]:
        say(
            f"{_MARKS[finding['outcome']]} {finding['position']:>2} {_words(finding['condition'])}"
            f" — {_words(finding['outcome'])}"
        )
        say(textwrap.fill(finding["reason"], 92, initial_indent=" " * 5, subsequent_indent=" " * 5))
    say("")
    if past.now is None:
        say("Now the claim is no longer decided.")
    elif not past.differs:
        say("It is decided the same now.")
    for one in past.differs:
        then_now = [_in_words(one[when]) for when in ("then", "now")]
        say(textwrap.fill(f"{_words(one['what'])}: then {then_now[0]}; now {then_now[1]}.", 97))
        say(textwrap.fill(one["because"], 92, initial_indent=" " * 5, subsequent_indent=" " * 5))


def _in_words(value: Any) -> str:
    if isinstance(value, dict):
        return f"{_words(value['outcome'])} ({value['reason']})"
    return "nothing" if value is None else _words(str(value))


def _write_page(path: Path, workspace: Workspace, claim: str) -> None:
    # Charts take a second to import: only where a page is asked for.
    from pipelines.queries.claim_page import page_of_claim

    page, is_ruled_since = page_of_claim(workspace, claim)
    write_file(path, page)
    progress(f"The page of claim {claim} is in {path}.")
    if is_ruled_since:
        progress("It does not yet tell the ruling made since the last refresh.")


def _tell(explained: Explanation) -> None:
    claim = explained.decision
    say(f"Claim {claim['claim']}: {_words(claim['verdict'])}{_lead(claim)}.")
    if claim["ruling"] is not None:
        say(f"Ruled {_words(claim['ruling'])}; this is in force.")
    say(
        f"Unit {claim['serial']} ({claim['model'] or 'model not known'}), failed on "
        f"{claim['failed_on']}, terms {claim['edition'] or 'none'}; as of {explained.as_of}."
    )
    say("")
    say(f"{'':10}{'claimed':>12}{'payable':>12}{'to be paid':>12}  {explained.currency}")
    for line in LINES:
        amounts = [claim[f"{line}_{kind}"] for kind in ("claimed", "payable", "standing")]
        say(f"{line:10}" + "".join(f"{amount:>12,.2f}" for amount in amounts))
    say("")
    for finding in explained.findings:
        say(
            f"{_MARKS[finding['outcome']]} {finding['position']:>2} {_words(finding['condition'])}"
            f" — {_words(finding['outcome'])}"
        )
        say(textwrap.fill(finding["reason"], 92, initial_indent=" " * 5, subsequent_indent=" " * 5))
        for source in finding["evidence"]:
            say("     [{feed}/{key}/{file}:{line}]".format(**source))
    say("")
    for sentence in explained.counterfactuals:
        say(textwrap.fill(sentence, 97))
    if explained.unit["replacement"]:
        say(explained.unit["replacement"])
    _tell_payment(explained)
    _tell_rulings(explained)


def _tell_payment(explained: Explanation) -> None:
    payment = explained.payment
    if payment is None:
        return
    say(
        f"{_words(payment['state']).capitalize()}: {payment['total_credited']:,.2f} "
        f"{explained.currency} paid of {payment['total_standing']:,.2f} to be paid."
    )
    for credit in explained.credits:
        amounts = ", ".join(
            f"{line} {credit[f'{line}_amount']:,.2f}"
            for line in LINES
            if credit[f"{line}_amount"] is not None
        )
        number = f" ({credit['credit']})" if credit["credit"] else ""
        say(f"     {credit['credited_on']}{number}: {amounts}")


def _tell_rulings(explained: Explanation) -> None:
    """All rulings in the order in which they were made, with their reasons."""
    standing = [ruling for ruling in explained.rulings if not ruling["since_refresh"]][-1:]
    for place, ruling in enumerate(explained.rulings, 1):
        by = f"{_words(ruling['ruling'])} by {ruling['ruled_by']}"
        if ruling["since_refresh"]:
            said = f"Ruled since the last refresh: {by} ({ruling['reason']}); "
            end = "the pages tell it from the next refresh on"
        else:
            said = f"Ruled {by} on {ruling['ruled_at']:%Y-%m-%d %H:%M} ({ruling['reason']}); "
            end = "this is in force"
        if place < len(explained.rulings):
            end = "the next one replaces it"
        if ruling in standing and explained.decision["ruling_beyond_limit"]:
            end += "; beyond what its maker may decide"
        say(f"{said}{end}.")


def _lead(claim: dict[str, Any]) -> str:
    return f" ({_words(claim['lead_reason'])})" if claim["lead_reason"] else ""


def _words(name: str) -> str:
    return name.replace("_", " ")
