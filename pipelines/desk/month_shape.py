"""Month end: rows, and the shares that the reserve rests on."""

from __future__ import annotations

from schemas import codes
from schemas import json_schema as js

# As `schemas.months` has them, which imports what `--help` does not need.
_MEASURES = ("decided", "ruled", "approved", "paid", "taken_back", "accrued", "open", "reserve")
_MONTH = r"^[0-9]{4}-(0[1-9]|1[0-2])$"


def month() -> js.Schema:
    """What is told of a month."""
    amounts = {
        name: js.amount(f"{name.capitalize()}.", signed=True)
        for name in ("parts", "labor", "travel", "total")
    }
    row = js.record(
        {
            "month": js.text("The month.", _MONTH),
            "measure": js.word("What is counted.", _MEASURES),
            "verdict": js.or_null(js.word("Of `decided` alone.", (*codes.VERDICTS, "gone"))),
            "family": js.text("The unit's family, or unknown."),
            "cause_class": js.text("The cause's class, or unknown."),
            "agency": js.text("The agency, or unknown."),
            "region": js.text("The region, or unknown."),
            "person": js.or_null(js.text("Who ruled; of `ruled` alone.")),
            "state": js.word("As frozen, as now, or what mends.", ("frozen", "now", "adjustment")),
            "adjusts": js.or_null(js.text("Of an adjustment, the month that it mends.", _MONTH)),
            "claims": js.integer("How many claims.", least=None),
            **amounts,
        }
    )
    share = js.record(
        {
            "verdict": js.word("The verdict of the open claims.", codes.VERDICTS),
            "cause_class": js.text("Their cause's class, or unknown."),
            "claims": js.integer("How many settled claims it rests on."),
            "share": js.number("The share of what is claimed that is paid.", least=0, most=1),
        }
    )
    return js.record(
        {
            "month": js.text("The month.", _MONTH),
            "state": js.word("Whether it is closed.", ("open", "closed")),
            "closed_at": js.or_null(js.text("When it was closed (UTC).")),
            "closed_by": js.or_null(js.text("Who closed it.")),
            "as_of": js.day("As of which day the last refresh decided."),
            "rows": js.listing("The rows.", row),
            "shares": js.listing("The shares that the reserve rests on.", share),
        }
    )
