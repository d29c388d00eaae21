"""`limeledger explain`: one claim with every finding, its evidence, and what is short."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import Any

from pipelines.commands.arguments import write_file
from pipelines.commands.output import print_json, progress, say
from pipelines.errors import NotFoundError
from pipelines.refresh.explanation import Explanation, explain_claim
from pipelines.refresh.reading import no_such_claim
from pipelines.workspace.layout import Workspace

_MARKS = {
    "met": "✓",
    "unmet": "✗",
    "unknown": "?",
    "disputed": "!",
    "not_needed": "–",
    "not_evaluated": "·",
}


def run(args: argparse.Namespace) -> int:
    """Tells one claim as of the last refresh, with rulings recorded since."""
    workspace = Workspace.open(args.workspace)
    told = explain_claim(workspace, args.claim)
    if told is None:
        raise NotFoundError(no_such_claim(args.claim))
    if args.html:
        _write_page(Path(args.html), workspace, told)
    if args.json:
        print_json(told.to_dict())
    elif not args.html:
        _tell(told)
    return 0


def _write_page(path: Path, workspace: Workspace, told: Explanation) -> None:
    # Charts take a second to import: only where a page is asked for.
    from pipelines.refresh.claim_page import page_of_claim

    write_file(path, page_of_claim(workspace, told.decision["claim"]))
    progress(f"The page of claim {told.decision['claim']} is in {path}.")
    if told.rulings_since:
        progress("It does not yet tell the ruling made since the last refresh.")


def _tell(told: Explanation) -> None:
    claim = told.decision
    say(f"Claim {claim['claim']}: {_words(claim['verdict'])}{_lead(claim)}.")
    if claim["ruling"] is not None:
        say(f"Ruled {_words(claim['ruling'])}; this is what stands.")
    say(
        f"Unit {claim['serial']} ({claim['model'] or 'model not known'}), failed on "
        f"{claim['failed_on']}, terms {claim['edition'] or 'none'}; as of {told.as_of}."
    )
    say("")
    say(f"{'':10}{'claimed':>12}{'payable':>12}{'stands':>12}  {told.currency}")
    for line in ("parts", "labor", "travel"):
        amounts = [claim[f"{line}_{kind}"] for kind in ("claimed", "payable", "standing")]
        say(f"{line:10}" + "".join(f"{amount:>12,.2f}" for amount in amounts))
    say("")
    for finding in told.findings:
        say(
            f"{_MARKS[finding['outcome']]} {finding['position']:>2} {_words(finding['condition'])}"
            f" — {_words(finding['outcome'])}"
        )
        say(textwrap.fill(finding["reason"], 92, initial_indent=" " * 5, subsequent_indent=" " * 5))
        for source in finding["evidence"]:
            say(f"     [{source}]")
    say("")
    for sentence in told.remedies:
        say(textwrap.fill(sentence, 97))
    for ruling in told.rulings_since:
        say(
            f"Ruled since the last refresh: {_words(ruling['ruling'])} by {ruling['ruled_by']} "
            f"({ruling['reason']}); the pages tell it from the next refresh on."
        )


def _lead(claim: dict[str, Any]) -> str:
    return f" ({_words(claim['lead_reason'])})" if claim["lead_reason"] else ""


def _words(name: str) -> str:
    return name.replace("_", " ")
