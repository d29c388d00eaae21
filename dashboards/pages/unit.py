"""One unit from its sale to its last claim: what its page at the desk says.

Belongs here: words and rows. Does not belong here: what is on file of the unit, or what can be done
about it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.desk_words import LETTER_KINDS, LETTER_STATES
from dashboards.pages.claim_parts import analyte_row
from dashboards.pages.startups import STATE_WORDS
from dashboards.pages.unit_parts import unit_line

Row = Mapping[str, Any]
_IN_TIME = {"met": "yes", "unmet": "no", "unknown": "not known"}


def unit_content(life: Row, currency: str) -> dict[str, Any]:
    """What the template needs, out of `pipelines.queries.unit_life`."""
    unit = life["unit"]
    advised = life["recommendation"]
    return {
        "title": f"Unit {life['serial']}",
        "serial": life["serial"],
        "as_of": formats.day(life["as_of"]),
        "words": formats.VERDICTS,
        "facts": _facts(unit, life["journey"]),
        "life": unit_line((unit["clock_start"], unit["coverage_end"]), life["events"]),
        "startups": [_startup(row) for row in life["startups"]],
        "recommendation": _advised(advised) if advised else None,
        "tests": [_test(row) for row in life["tests"]],
        "purchases": [_purchase(row) for row in life["purchases"]],
        "calls": [_call(row) for row in life["calls"]],
        "claims": [
            {
                "claim": row["claim"],
                "standing": row["standing"],
                "text": f"Call {row['call']}, failed on {formats.day(row['failed_on'])}, "
                f"{row['agency'] or 'no agency'}.",
            }
            for row in life["claims"]
        ],
        "letters": [_letter(row) for row in life["letters"]],
        "currency": currency,
    }


def _facts(unit: Row, journey: Row | None) -> list[tuple[str, str]]:
    requested = _IN_TIME.get(journey["requested_in_time"] or "", "") if journey else ""
    facts = [
        ("Model", " ".join(filter(None, (unit["model"], unit["family"])))),
        ("Site", unit["site"]),
        ("Region", unit["region"]),
        ("Terms", unit["edition"]),
        ("Warranty from", formats.day(unit["clock_start"])),
        ("Cover ends", formats.day(unit["coverage_end"])),
        ("Start-up asked for in time", requested),
        ("Water", unit["water_profile"]),
    ]
    return [(label, value) for label, value in facts if value and value != "–"]


def _startup(row: Row) -> dict[str, Any]:
    review = row["review"]
    done = f"completed on {row['completed_on']}" if row["completed_on"] else "not completed"
    requested = f", asked for on {row['requested_on']}" if row["requested_on"] else ""
    return {
        "head": f"{row['report']}: {done}{requested}, {row['agency'] or 'no agency'}",
        "result": review["result"] if review else None,
        "says": review["sentence"] if review else "It is reviewed once it is completed.",
        "findings": [
            " ".join(filter(None, (one["sentence"], one["caution"])))
            if one["outcome"] == "unsound"
            else one["sentence"]
            for one in row["findings"]
            if one["outcome"] not in ("sound", "reported")
        ],
    }


def _advised(row: Row) -> dict[str, str]:
    state = STATE_WORDS[row["state"]]
    due = f", due by {row['due_on']}" if row["due_on"] else ""
    return {"head": f"{state[0].upper()}{state[1:]}{due}", "says": row["sentence"]}


def _test(row: Row) -> dict[str, Any]:
    outside = [formats.ANALYTES[one["analyte"]][0] for one in row["analytes"] if one["outside"]]
    said = f"{formats.listed(outside)} outside the limits" if outside else "within the limits"
    whole = "" if row["complete"] else "; not complete"
    place = ", ".join(filter(None, (row["point"], row["lab"])))
    return {
        "head": f"Sample {row['sample']} of {formats.day(row['sampled_on'])} ({place}): "
        f"{said}{whole}.",
        "rows": [analyte_row(one) for one in row["analytes"]],
        "caption": f"Sample {row['sample']}",
    }


def _purchase(row: Row) -> list[str]:
    seller = {True: "approved", False: "not approved"}.get(row["approved_seller"], "")
    return [
        formats.day(row["ordered_on"]),
        row["product"] or "–",
        formats.written(row["quantity"]),
        " ".join(filter(None, (row["condition"], row["kind"]))),
        " ".join(filter(None, (row["seller"], f"({seller})" if seller else ""))),
    ]


def _call(row: Row) -> list[str]:
    what: Sequence[str | None] = (row["cause"], row["part"], row["product"])
    return [
        row["call"],
        (row["kind"] or "–").replace("_", " "),
        formats.day(row["opened_on"]),
        formats.day(row["completed_on"]),
        row["agency"] or "–",
        ", ".join(filter(None, what)) or "–",
        row["notes"] or "",
    ]


def _letter(row: Row) -> dict[str, str]:
    about = f" on {row['claim']}" if row["claim"] else ""
    sent = f", sent on {row['sent_on']}" if row["sent_on"] else ""
    due = f", answer due by {row['due_on']}" if row["due_on"] else ""
    kind = LETTER_KINDS.get(row["kind"], row["kind"])
    return {
        "entry": row["entry"],
        "text": f"{kind}{about}: {LETTER_STATES[row['state']]}{sent}{due}",
    }
