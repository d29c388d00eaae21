"""What actions at the desk answer, as their commands tell it.

Belongs here: the forms of the answers. Does not belong here: the answers (`pipelines.actions`).
"""

from __future__ import annotations

from typing import get_args

from pipelines.actions.caller import ROLES
from pipelines.events.event import Kind, Via
from schemas import json_schema as js
from schemas.codes import FEEDS
from schemas.decisions import Decisions
from schemas.feeds import Rulings

VIAS, KINDS = get_args(Via), get_args(Kind)
RULING_STATES = ("stands", "waiting", "overruled", "withdrawn")


def event() -> dict[str, js.Schema]:
    """The number that every action gives."""
    return {"event": js.integer("The number of the event.", least=1)}


def on_claim() -> dict[str, js.Schema]:
    """What every action on a claim gives."""
    version = js.integer("The claim's version now: the number of its last event.", least=1)
    return event() | {"claim": js.text("The claim."), "version": version}


def ruling_shape(description: str | None = None) -> js.Schema:
    """One ruling with its state."""
    return js.record(_ruling(), description)


def _ruling() -> dict[str, js.Schema]:
    return {
        "event": js.or_null(js.integer("Its event; null where it came by an export.", least=1)),
        "claim": js.text("The claim."),
        **{
            name: column
            for name, column in js.properties_of(Rulings).items()
            if name not in ("claim", "ruled_at")
        },
        "ruled_at": js.moment_as_typed("When it was decided; in the workspace's time zone."),
        "granted": js.or_null(
            js.amount("What it grants in all; null where it was not made at the desk.")
        ),
        "state": js.word("Whether it stands.", RULING_STATES),
        "approved_by": js.or_null(js.text("The second person who approved it.")),
    }


def made_ruling() -> js.Schema:
    """A ruling that was just made, approved or withdrawn."""
    return js.record(
        _ruling()
        | on_claim()
        | {
            "replaces": js.or_null(ruling_shape("The ruling that stood until then.")),
            "overruled_by": js.or_null(ruling_shape("The one made after it, which stands.")),
        }
    )


def made_rulings() -> js.Schema:
    """Rulings on several claims."""
    return js.record(event() | {"rulings": js.listing("A ruling a claim.", made_ruling())})


def user() -> dict[str, js.Schema]:
    """One user."""
    return {
        "user": js.text("The sign-in name.", "^[a-z0-9._-]{1,64}$"),
        "name": js.text("The name that rulings carry."),
        "role": js.word("What they may do.", ROLES),
        "disabled": js.flag("Whether they may not sign in any more."),
    }


def withdrawn() -> js.Schema:
    """A record or a correction that was just taken back."""
    return js.record(
        event()
        | {
            "withdraws": js.integer("The event that counts as never made.", least=1),
            "reason": js.text("Why."),
            "claims": bearing_on(),
        }
    )


def entered() -> js.Schema:
    """A record that was just entered."""
    settles = js.record(
        {"file": js.text("The file."), "line": js.integer("The line.", least=1)},
        "The set-aside row that it stands for.",
    )
    record = {
        "file": js.text("How it is cited as a file."),
        "line": js.integer("And as a line: the number of its event.", least=1),
        "feed": js.word("The feed.", FEEDS),
        "values": _cells("The columns as typed."),
        "documents": js.texts("The documents that it rests on, by SHA-256."),
        "settles": js.or_null(settles),
    }
    return js.one_of(
        [
            js.record(first | {"record": js.record(record, "The record."), "claims": bearing_on()})
            for first in (event(), on_claim())
        ]
    )


def corrected() -> js.Schema:
    """A correction that was just made."""
    correction = {
        "feed": js.word("The feed.", FEEDS),
        "file": js.text("The file of the row."),
        "line": js.integer("Its line.", least=1),
        "was": _cells("What stood there."),
        "values": _cells("What stands instead."),
        "reason": js.text("Why."),
        "documents": js.texts("The documents that it rests on, by SHA-256."),
    }
    shape = js.record(correction, "The correction.")
    return js.one_of(
        [
            js.record(first | {"correction": shape, "claims": bearing_on()})
            for first in (event(), on_claim())
        ]
    )


def _cells(description: str) -> js.Schema:
    return {
        "description": description,
        "type": "object",
        "additionalProperties": {"type": "string"},
    }


def bearing_on() -> js.Schema:
    """The claims that an action bears on, decided before and after it."""
    return js.listing(
        "Each claim that it bears on, decided again.",
        js.record(
            {
                "claim": js.text("The claim."),
                "before": js.or_null(js.row_of(Decisions, "As decided before it.")),
                "after": js.or_null(js.row_of(Decisions, "As decided with it.")),
            }
        ),
    )


def event_shape() -> js.Schema:
    """One event with all its columns."""
    digest = "^([0-9a-f]{64})?$"
    return js.record(
        {
            "event": js.integer("Its number, which rises.", least=1),
            "at": js.moment_with_offset("When, in UTC."),
            "as_of": js.day("The desk's day."),
            "actor": js.text("The sign-in name, or who they said they were."),
            "via": js.word("By which way.", VIAS),
            "os_user": js.or_null(js.text("The operating system's user, for commands.")),
            "kind": js.word("What was done.", KINDS),
            "claim": js.or_null(js.text("The claim, where there is one.")),
            "subject": js.or_null(js.text("What else was acted on.")),
            "payload": {"description": "What the action said.", "type": "object"},
            "previous": js.text("The digest before it; empty for the first.", digest),
            "digest": js.text("SHA-256 over the event but this.", js.SHA256),
        }
    )
