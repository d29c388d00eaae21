"""What each action answers, as JSON Schema.

Belongs here: one entry an action. Does not belong here: the action.
"""

from __future__ import annotations

from pipelines.desk.described import LETTER, RULING_ANSWER, of_claim
from pipelines.desk.described_parts import EVENT, VERSION, Schema
from pipelines.desk.described_rows import PLACE, TEXTS
from pipelines.desk.month_shape import month
from schemas import json_schema as js
from schemas.decisions import Decisions

_DOCUMENTS = js.listing("Its documents.", js.text("One, by SHA-256.", js.SHA256))
RECORD = js.record(
    {
        "file": js.text("The file under which it is cited."),
        "line": js.integer("Its event, as its line.", least=1),
        "feed": js.text("Its feed."),
        "values": TEXTS,
        "documents": _DOCUMENTS,
        "settles": js.or_null(PLACE),
    }
)
CORRECTION = js.record(
    {
        "feed": js.text("The feed."),
        "file": js.text("The export that holds the row."),
        "line": js.integer("The line on which it begins.", least=1),
        "was": TEXTS,
        "values": TEXTS,
        "reason": js.text("Why."),
        "documents": _DOCUMENTS,
    }
)
_SIDE = js.or_null(js.row_of(Decisions, "The decision."))
MOVED = js.listing(
    "The claims that it bears on.",
    js.record({"claim": js.text("The claim."), "before": _SIDE, "after": _SIDE}),
)
TAKEN_BACK = js.record(
    {
        "event": EVENT,
        "withdraws": EVENT,
        "reason": js.text("Why."),
        "claims": MOVED,
    }
)
ANSWERS: dict[str, Schema] = {
    "rule": RULING_ANSWER,
    "rule_many": js.record({"event": EVENT, "rulings": js.listing("One a claim.", RULING_ANSWER)}),
    "approve": RULING_ANSWER,
    "withdraw_ruling": RULING_ANSWER,
    "appeal": of_claim(received_on=js.day("When it came."), reason=js.text("What it says.")),
    "note": of_claim(text=js.text("The note.")),
    "assign": of_claim(to=js.or_null(js.text("To whom."))),
    "hold": of_claim(until=js.or_null(js.day("Until when.")), reason=js.or_null(js.text("Why."))),
    "keep_document": js.record(
        {
            "event": EVENT,
            "claim": js.text("The claim, where one is named."),
            "version": VERSION,
            "sha256": js.text("The SHA-256 of its bytes.", js.SHA256),
            "name": js.text("The name that it was given, without a path."),
            "type": js.text("Its media type, by its bytes."),
            "bytes": js.integer("Its size."),
        }
    )
    | {"required": ["event", "sha256", "name", "type", "bytes"]},
    "enter": js.record(
        {
            "event": EVENT,
            "claim": js.text("The claim, where one is named."),
            "version": VERSION,
            "record": RECORD,
            "claims": MOVED,
        }
    )
    | {"required": ["event", "record", "claims"]},
    "correct": js.record(
        {
            "event": EVENT,
            "claim": js.text("The claim, where the row is a claim's."),
            "version": VERSION,
            "correction": CORRECTION,
            "claims": MOVED,
        }
    )
    | {"required": ["event", "correction", "claims"]},
    "mark_letter": js.record(
        {
            "event": EVENT,
            "letters": js.listing("The letter as it is now.", LETTER),
            "entry": js.integer("The entry.", least=1),
        }
    ),
    "send_letters": js.record(
        {
            "event": EVENT,
            "letters": js.listing("The letters as they are now.", LETTER),
            "sent": js.listing("Those that the server took.", js.integer("One.", least=1)),
            "refused": js.listing("Those that it did not take.", js.integer("One.", least=1)),
            "answers": js.texts("What the server said of each mail that it refused."),
        }
    ),
    "close_month": js.record({"event": EVENT, **month()["properties"]}),
    "withdraw_record": TAKEN_BACK,
    "withdraw_correction": TAKEN_BACK,
}
