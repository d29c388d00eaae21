"""The JSON Schemas of what the API answers, from the same table classes as the tables.

Belongs here: shapes of answers. Does not belong here: paths and statuses (`openapi`).
"""

from __future__ import annotations

from typing import Any

from pipelines.desk.described_parts import EVENT, VERSION, Schema, text_or_null
from pipelines.desk.described_rows import CORRECTED, DOCUMENT, ENTERED
from schemas import json_schema as js
from schemas.codes import RULINGS
from schemas.decisions import Decisions, Findings
from schemas.payments import Payments
from schemas.register import Letters
from schemas.worklist import GROUPS

STATES_OF_RULINGS = ("stands", "waiting", "overruled", "withdrawn")
_LINE = {"parts": "parts", "labor": "labor", "travel": "travel"}


RULING_PROPERTIES: dict[str, Schema] = {
    "claim": js.text("The claim."),
    "ruling": js.word("What was decided.", RULINGS),
    "reason": js.text("Why."),
    "ruled_by": js.text("Who decided."),
    "ruled_at": js.text("When it was decided, ISO 8601."),
    **{f"{name}_amount": js.or_null(js.amount(f"What it sets for {name}.")) for name in _LINE},
    "granted": js.or_null(js.amount("What it grants in all; null where a file did not say.")),
    "state": js.word("Whether it counts.", STATES_OF_RULINGS),
    "approved_by": text_or_null("The second person."),
}
RULING = js.record(
    {"event": js.or_null(EVENT), **RULING_PROPERTIES},
    "A ruling; without an event it came by an export.",
)
RULING_ANSWER = js.record(
    {
        "event": EVENT,
        "version": VERSION,
        **RULING_PROPERTIES,
        "replaces": js.or_null(RULING),
        "overruled_by": js.or_null(RULING),
    }
)
RECORDED = js.record(
    {
        "event": EVENT,
        "at": js.moment_with_offset("When, in UTC."),
        "as_of": js.day("The desk's day."),
        "actor": js.text("Who, by sign-in name."),
        "via": js.word("By which way.", ("web", "api", "command", "import", "refresh")),
        "os_user": text_or_null("The user of the operating system, of commands."),
        "kind": js.text("What kind of thing was done."),
        "claim": text_or_null("The claim."),
        "subject": text_or_null("What it was done to, where that is no claim alone."),
        "payload": {"type": "object", "description": "What was said, and what was frozen."},
        "previous": js.text("The digest of the event before.", r"^([0-9a-f]{64})?$"),
        "digest": js.text("SHA-256 over the event.", js.SHA256),
    }
)
ORIGINAL = js.record(
    {
        "claim": js.text("The claim that comes first."),
        "standing": js.text("Its verdict in force."),
        "credited": js.amount("What was credited for it.", signed=True),
        "last_credited_on": js.or_null(js.day("When last.")),
        "equal": js.flag("Whether the same was claimed, line by line."),
    }
)
LISTED = js.record(
    {
        **js.properties_of(Decisions),
        "group": js.or_null(js.word("Its place on the worklist.", GROUPS)),
        "reason": js.text("Why it is there, in full."),
        "at_stake": js.amount("The money at stake."),
        "age_days": js.integer("Days since it was claimed, else since the call.", least=None),
        "days_left": js.or_null(js.integer("Days left to file.")),
        "assigned_to": text_or_null("To whom it is assigned."),
        "hold_until": js.or_null(js.day("Until when it is on hold.")),
        "original": js.or_null(ORIGINAL),
        "version": VERSION,
    }
)
DECIDED = js.record(
    {
        **js.properties_of(Decisions),
        "findings": js.rows_of(Findings, "Its findings in order.", without=("claim",)),
    }
)
PAYMENT = js.row_of(Payments, "What was credited beside what is to be paid.")
_LETTER: dict[str, Schema] = {
    **js.properties_of(Letters),
    "may_have_gone_out": js.flag("Whether its mail was handed over and no answer was kept."),
}
LETTER = js.record(_LETTER, "One letter of the register.")
FROZEN = js.record(
    {
        **_LETTER,
        "text": text_or_null("Its text as it was frozen."),
        "html": text_or_null("The same as a page."),
    }
)
NEXT_STEP = js.record(
    {
        "action": js.text("What kind of step."),
        "label": js.text("What should happen, and who can do it."),
        "path": text_or_null("The action's path."),
        "command": js.text("The command that does it."),
    }
)
NOTE = js.record(
    {
        "event": EVENT,
        "at": js.moment_with_offset("When."),
        "actor": js.text("Who."),
        "text": js.text("The note."),
    }
)
APPEAL = js.record(
    {
        "event": EVENT,
        "at": js.moment_with_offset("When it was recorded."),
        "actor": js.text("By whom."),
        "received_on": js.day("When it came."),
        "reason": js.text("What it says."),
    }
)


def of_claim(**more: Schema) -> Schema:
    """The answer of an action on a claim."""
    return js.record({"event": EVENT, "claim": js.text("The claim."), "version": VERSION, **more})


def total_of(name: str, items: Schema, **more: Schema) -> Schema:
    """A list with how many there are in all."""
    listed = js.listing("Those asked for.", items)
    return js.record({name: listed, "total": js.integer("How many there are in all."), **more})


def problem() -> Schema:
    """RFC 9457, 3.1."""
    fault = js.record({"field": js.text("The field."), "detail": js.text("What is wrong.")})
    form: dict[str, Any] = {
        "type": "object",
        "properties": {
            "type": js.text("A URI of the kind of problem."),
            "title": js.text("The name of the status."),
            "status": js.integer("The status.", least=400, most=599),
            "detail": js.text("What is wrong, in a sentence."),
            "errors": js.listing("What is wrong, field by field.", fault),
            "since": {
                "type": "array",
                "items": {"type": "object"},
                "description": "With 412: the events after the version that was sent.",
            },
        },
        "required": ["type", "title", "status", "detail"],
    }
    return form


CLAIM = js.record(
    {
        "claim": js.text("The claim."),
        "version": VERSION,
        "decided": js.or_null(DECIDED),
        "published": js.or_null(DECIDED),
        "differs": js.flag("Whether the two differ."),
        "assigned_to": text_or_null("To whom it is assigned."),
        "hold_until": js.or_null(js.day("Until when it is on hold.")),
        "rulings": js.listing("Rulings by the moment of ruling.", RULING),
        "appeals": js.listing("Appeals.", APPEAL),
        "notes": js.listing("Notes.", NOTE),
        "records": js.listing("Records entered for it.", ENTERED),
        "corrections": js.listing("Corrections of its own rows.", CORRECTED),
        "documents": js.listing("Documents.", DOCUMENT),
        "letters": js.listing("Letters of the register.", LETTER),
        "events": js.listing("Everything that was done with it.", RECORDED),
        "payment": js.or_null(PAYMENT),
        "next_steps": js.listing("What should happen next.", NEXT_STEP),
    }
)
