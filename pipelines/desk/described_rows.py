"""The JSON Schemas of rows, corrections, entered records and documents.

Belongs here: shapes of answers. Does not belong here: those of claims (`described`).
"""

from __future__ import annotations

from pipelines.desk.described_parts import EVENT, Schema, text_or_null
from schemas import json_schema as js

TEXTS: Schema = {
    "type": "object",
    "additionalProperties": {"type": "string"},
    "description": "Texts by column.",
}
_MADE: dict[str, Schema] = {
    "event": EVENT,
    "feed": js.text("The feed."),
    "claim": text_or_null("The claim that it was made for."),
    "values": TEXTS,
    "actor": js.text("Who made it."),
    "at": js.moment_with_offset("When, in UTC."),
    "state": js.word("Whether it counts.", ("in_force", "confirmed", "stale", "withdrawn")),
}
PLACE = js.record(
    {"file": js.text("The export."), "line": js.integer("The line.", least=1)}, "A row."
)
ENTERED = js.record(
    {
        **_MADE,
        "settles": js.or_null(PLACE),
        "documents": js.listing("Its documents.", js.text("One, by SHA-256.", js.SHA256)),
    }
)
CORRECTED = js.record(
    {
        **_MADE,
        "file": js.text("The export that holds the row."),
        "line": js.integer("The line on which it begins.", least=1),
        "was": TEXTS,
        "reason": js.text("Why."),
        "row": TEXTS,
        "instead": js.or_null(
            js.record(
                {
                    "file": js.text("The export of the row that is the record now."),
                    "line": js.integer("Its line.", least=1),
                    "values": TEXTS,
                }
            )
        ),
    }
)
SET_ASIDE = js.record(
    {
        "kind": js.word("Whether it is unusable, or another counts.", ("set_aside", "superseded")),
        "feed": text_or_null("The feed; null where the file is of none."),
        "file": js.text("The export."),
        "line": js.integer("The line on which it begins.", least=1),
        "reasons": js.listing(
            "Why it is not used.",
            js.record(
                {
                    "column": text_or_null("The column."),
                    "value": text_or_null("What stood there."),
                    "rule": js.text("The rule."),
                    "reason": js.text("The reason in a sentence."),
                }
            ),
        ),
        "settled_by": js.or_null(EVENT),
    }
)
DOCUMENT = js.record(
    {
        "event": EVENT,
        "at": js.moment_with_offset("When."),
        "actor": js.text("Who brought it."),
        "sha256": js.text("The SHA-256 of its bytes.", js.SHA256),
        "name": js.text("The name that it was given."),
        "type": js.text("Its media type."),
        "bytes": js.integer("Its size."),
    }
)
