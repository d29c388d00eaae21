"""What each action answers, as JSON Schema.

Belongs here: one entry an action. Does not belong here: the action.
"""

from __future__ import annotations

from pipelines.desk.described import EVENT, RULING_ANSWER, Schema, of_claim
from schemas import json_schema as js

ANSWERS: dict[str, Schema] = {
    "rule": RULING_ANSWER,
    "rule_many": js.record({"event": EVENT, "rulings": js.listing("One a claim.", RULING_ANSWER)}),
    "approve": RULING_ANSWER,
    "withdraw_ruling": RULING_ANSWER,
    "appeal": of_claim(received_on=js.day("When it came."), reason=js.text("What it says.")),
    "note": of_claim(text=js.text("The note.")),
    "assign": of_claim(to=js.or_null(js.text("To whom."))),
    "hold": of_claim(until=js.or_null(js.day("Until when.")), reason=js.or_null(js.text("Why."))),
}
