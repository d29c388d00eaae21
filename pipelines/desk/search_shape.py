"""What a search found."""

from __future__ import annotations

from schemas import codes
from schemas import json_schema as js

_KINDS = ("claim", "unit", "agency", "site", "set_aside", "superseded")


def search_results() -> js.Schema:
    """The results and how many there are."""
    result = js.record(
        {
            "kind": js.word("What it is.", _KINDS),
            "claim": js.or_null(js.text("The claim.")),
            "call": js.or_null(js.text("The service call.")),
            "serial": js.or_null(js.text("The unit.")),
            "agency": js.or_null(js.text("The agency.")),
            "site": js.or_null(js.text("The site.")),
            "verdict": js.or_null(js.word("The claim's verdict.", codes.VERDICTS)),
            "feed": js.or_null(js.word("The feed of its row.", codes.FEEDS)),
            "file": js.or_null(js.text("The file of its row.")),
            "line": js.or_null(js.integer("The line on which it begins.")),
            "reason": js.or_null(js.text("Why it is decided so, or its name.")),
            "url": js.text("Its page at the desk."),
        }
    )
    return js.record(
        {
            "query": js.text("What was searched."),
            "total": js.integer("How many match."),
            "results": js.listing("At most 200 of them.", result),
        }
    )
