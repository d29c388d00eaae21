"""The actions on documents, records, corrections and letters.

Belongs here: their part of the list. Does not belong here: any rule of an action
(`pipelines.actions`).
"""

from __future__ import annotations

from pipelines import actions
from pipelines.actions.closing import close_month
from pipelines.actions.corrections import CORRECTED
from pipelines.actions.documents import keep
from pipelines.actions.letters import SETTABLE, mark
from pipelines.actions.records import ENTERED
from pipelines.actions.sending import send_letters
from pipelines.desk.operation import REASON, Given, Operation, a_text
from schemas import json_schema as js

CLAIM = Given("text", js.text("The claim that it is about."), required=False)
DOCUMENTS = Given("texts", js.listing("Documents, by SHA-256.", js.text("One.", js.SHA256)), False)
FEED = Given("text", js.word("The feed.", ENTERED))
COLUMNS = Given(
    "columns",
    {
        "type": "object",
        "additionalProperties": {"type": "string"},
        "description": "Texts by column, as typed.",
    },
)
PLACE = js.record(
    {
        "file": js.text("An export, below exports/."),
        "line": js.integer("The line on which the row begins.", least=1),
    },
    "The row set aside whose place this record takes.",
)
OF_ROWS: tuple[Operation, ...] = (
    Operation(
        "keep_document",
        "/documents",
        "Add a document",
        "Keep a document, of a claim where one is named.",
        keep,
        {
            "document": Given("upload", {"type": "string", "format": "binary"}),
            "claim": CLAIM,
        },
        refusals=(404,),
        is_upload=True,
    ),
    Operation(
        "enter",
        "/records",
        "Enter the record",
        "Enter a record that no export brought.",
        actions.enter,
        {
            "feed": FEED,
            "values": COLUMNS,
            "claim": CLAIM,
            "documents": DOCUMENTS,
            "settles": Given("place", PLACE, required=False),
        },
        refusals=(404, 409),
    ),
    Operation(
        "withdraw_record",
        "/records/{event}/withdrawal",
        "Withdraw the record",
        "Take a record back, so that it counts as never made.",
        actions.withdraw_record,
        {"reason": REASON},
        refusals=(404, 409),
        shown="/corrections",
    ),
    Operation(
        "correct",
        "/corrections",
        "Correct the row",
        "Correct the rows of a row's content, wherever they are.",
        actions.correct,
        {
            "feed": Given("text", js.word("The feed.", CORRECTED)),
            "file": a_text("The export that holds the row, below exports/."),
            "line": Given("number", js.integer("The line on which it begins.", least=1)),
            "was": COLUMNS,
            "values": COLUMNS,
            "reason": REASON,
            "documents": DOCUMENTS,
        },
        refusals=(404, 409),
        shown="/corrections",
    ),
    Operation(
        "withdraw_correction",
        "/corrections/{event}/withdrawal",
        "Withdraw the correction",
        "Take a correction back, so that it counts as never made.",
        actions.withdraw_correction,
        {"reason": REASON},
        refusals=(404, 409),
        shown="/corrections",
    ),
    Operation(
        "mark_letter",
        "/letters/{entry}/state",
        "Mark",
        "Say how far a letter has come.",
        mark,
        {
            "state": Given("text", js.word("What it is now.", SETTABLE)),
            "on": Given("text", js.day("The day; the desk's day where it is not given."), False),
            "note": a_text("A note; needed where a letter is to be sent again.", required=False),
        },
        refusals=(404, 409),
        shown="/letters/{entry}",
    ),
    Operation(
        "send_letters",
        "/letters/sending",
        "Send by mail",
        "Send letters by mail: all of them, or none where one is in the way.",
        send_letters,
        {
            "letters": Given("numbers", js.listing("The entries.", js.integer("One.", least=1))),
            "one_mail_per_agency": Given(
                "flag", js.flag("One mail an agency, which names every claim."), False
            ),
        },
        refusals=(404, 409),
        shown="/letters?state=sent",
    ),
    Operation(
        "close_month",
        "/months/{month}/closing",
        "Close the month",
        "Freeze the figures of a month; never undone.",
        close_month,
        {"note": a_text("A note.", required=False)},
        refusals=(404, 409),
        shown="/months/{month}",
    ),
)
