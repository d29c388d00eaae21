"""The actions on a claim: rulings, appeals, notes, assignment, holds.

Belongs here: their part of the list. Does not belong here: any rule of an action
(`pipelines.actions`).
"""

from __future__ import annotations

from pipelines import actions
from pipelines.desk.operation import REASON, Given, Operation, a_text
from schemas import json_schema as js
from schemas.codes import RULINGS


def _amount(line: str) -> Given:
    said = f"What is to be paid for {line}; what is claimed or payable where it is not given."
    return Given("text", js.amount(said), required=False)


RULING = Given("text", js.word("What is decided.", RULINGS))
OF_CLAIMS: tuple[Operation, ...] = (
    Operation(
        "rule",
        "/claims/{claim}/rulings",
        "Rule",
        "Decide a claim.",
        actions.rule,
        {
            "ruling": RULING,
            "reason": REASON,
            "parts_amount": _amount("parts"),
            "labor_amount": _amount("labor"),
            "travel_amount": _amount("travel"),
            "ruled_at": a_text(
                "When it was decided, such as 2026-03-31T14:05; now where it is not given.",
                required=False,
            ),
        },
        versioned=True,
        refusals=(404,),
    ),
    Operation(
        "rule_many",
        "/rulings",
        "Rule on all chosen",
        "Decide several claims alike: all of them, or none.",
        actions.rule_many,
        {
            "claims": Given(
                "claims",
                js.listing(
                    "The claims, each with the version that the caller saw.",
                    js.record(
                        {
                            "claim": js.text("The claim."),
                            "version": js.integer("Its version; 0 without an event."),
                        }
                    ),
                )
                | {"minItems": 1, "maxItems": 500},
            ),
            "ruling": RULING,
            "reason": REASON,
        },
        refusals=(409,),
        shown="/",
    ),
    Operation(
        "approve",
        "/rulings/{event}/approval",
        "Approve",
        "Approve a ruling of another person.",
        actions.approve,
        versioned=True,
        refusals=(404, 409),
    ),
    Operation(
        "withdraw_ruling",
        "/rulings/{event}/withdrawal",
        "Withdraw the ruling",
        "Take a ruling back, so that it counts as never made.",
        actions.withdraw_ruling,
        {"reason": REASON},
        versioned=True,
        refusals=(404, 409),
    ),
    Operation(
        "appeal",
        "/claims/{claim}/appeals",
        "Record an appeal",
        "Record that the agency appeals: the claim is open until the next ruling.",
        actions.appeal,
        {
            "received_on": Given("text", js.day("The day on which it came.")),
            "reason": REASON,
        },
        versioned=True,
        refusals=(404,),
    ),
    Operation(
        "note",
        "/claims/{claim}/notes",
        "Write a note",
        "Write a note on a claim.",
        actions.note,
        {"text": a_text("The note, 1 to 10,000 characters.")},
        refusals=(404,),
    ),
    Operation(
        "assign",
        "/claims/{claim}/assignment",
        "Assign",
        "Give a claim to a user, or to nobody.",
        actions.assign,
        {"to": a_text("The sign-in name; null: nobody.", may_be_null=True)},
        versioned=True,
        refusals=(404,),
    ),
    Operation(
        "hold",
        "/claims/{claim}/hold",
        "Hold",
        "Take a claim off the worklist until a day; null ends a hold.",
        actions.hold,
        {
            "until": Given("text", js.day("A day after the desk's day."), may_be_null=True),
            "reason": a_text("Why; needed for a hold.", required=False),
        },
        versioned=True,
        refusals=(404,),
    ),
)
