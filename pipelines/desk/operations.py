"""Every action of the desk: its path, what it is given, and the function that does it.

Belongs here: one list, from which the API (`api`), the forms (`forms`) and their description
(`openapi`) are made. Does not belong here: any rule of an action (`pipelines.actions`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pipelines import actions
from pipelines.desk.guard import API
from schemas import json_schema as js
from schemas.codes import RULINGS

Kind = Literal["text", "number", "flag", "claims", "numbers", "texts", "columns", "place"]
Fields = dict[str, Any]


@dataclass(frozen=True)
class Given:
    """One field of a body: its kind, its JSON Schema, and whether it must be there.

    A blank field of a form is not given; `blank` says what it then is, where that means something.
    """

    kind: Kind
    schema: js.Schema
    required: bool = True
    may_be_null: bool = False

    @property
    def described(self) -> js.Schema:
        """Its JSON Schema, with null where that is allowed."""
        return js.or_null(self.schema) if self.may_be_null or not self.required else self.schema


@dataclass(frozen=True)
class Operation:
    """One action: POST to a path below `/api/v1`, and the same path without it for its form.

    versioned: it needs the version of its claim that the caller saw.
    title: its heading and button on the pages.
    is_upload: it is sent as a form with a document, by programs too.
    shown: the address of the page that shows what was done; the claim's where it is not named.
    """

    name: str
    path: str
    title: str
    summary: str
    do: Callable[..., dict[str, Any]]
    given: Mapping[str, Given] = field(default_factory=dict)
    versioned: bool = False
    refusals: tuple[int, ...] = ()
    shown: str | None = None
    is_upload: bool = False

    @property
    def api_path(self) -> str:
        """Where programs send it."""
        return f"{API}{self.path}"


def a_text(description: str, **more: Any) -> Given:
    """A text."""
    return Given("text", {"description": description, "type": "string"}, **more)


def _amount(line: str) -> Given:
    said = f"What is to be paid for {line}; what is claimed or payable where it is not given."
    return Given("text", js.amount(said), required=False)


REASON = a_text("Why.")
CLAIM = Given("text", js.text("The claim that it is about."), required=False)
DOCUMENTS = Given("texts", js.listing("Documents, by SHA-256.", js.text("One.", js.SHA256)), False)
RULING = Given("text", js.word("What is decided.", RULINGS))

OPERATIONS: tuple[Operation, ...] = (
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
BY_NAME = {operation.name: operation for operation in OPERATIONS}
