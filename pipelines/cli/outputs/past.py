"""What `explain --decided`, `explain --known` and `reproduce` tell of days gone by."""

from __future__ import annotations

from pipelines.cli.outputs.explain import explanation
from schemas import codes
from schemas import json_schema as js
from schemas.archive import CLOCKS
from schemas.decisions import Decisions, Findings


def explanations() -> js.Schema:
    """What `explain` gives: plain, as of another day, or as decided by one."""
    as_of_a_day = explanation()["properties"] | {
        "known": js.or_null(js.day("What had arrived by the end of this day; null: all that has."))
    }
    return js.one_of([explanation(), js.record(as_of_a_day), past_explanation()])


def past_explanation() -> js.Schema:
    """A claim as it stood by a day, beside what stands now."""
    return js.record(
        {
            "claim": js.text("The claim."),
            "decided": js.day("The day by whose end it stood so."),
            "then": _then() | {"description": "As it was published then."},
            "now": js.or_null(
                explanation() | {"description": "As it stands now; null where the claim is gone."}
            ),
            "differs": js.listing("What differs, and why.", _difference()),
        }
    )


def reproduction() -> js.Schema:
    """What came of deciding again."""
    return js.record(
        {
            "decided": js.day("The day by whose end the claims stood so."),
            "publication": js.integer("The last publication by then.", least=1),
            "as_of": js.day("The day as of which it decided."),
            "tool_then": js.text("The tool that published: its version and its source."),
            "tool_now": js.text("This tool: its version and its source."),
            "claims": js.integer("How many claims were decided again."),
            "same": js.integer("How many of them came out the same."),
            "outcome": js.word("What came of it.", ("same", "differs")),
            "differs": js.listing(
                "What came out otherwise.",
                js.record(
                    {
                        "claim": js.text("The claim."),
                        "what": js.text("A column of decisions, or a condition and what of it."),
                        "then": {"description": "What was published; null where nothing was."},
                        "now": {"description": "What comes out now; null where nothing does."},
                    }
                ),
            ),
        }
    )


def _then() -> js.Schema:
    return js.record(
        {
            "publication": js.integer("The publication's number.", least=1),
            "published_at": js.moment("When it was published, in UTC."),
            "clock": js.word("Where the moment came from.", CLOCKS),
            "as_of": js.day("The day as of which it decided."),
            "state": js.text("SHA-256 over all of its inputs.", js.SHA256),
            "tool_version": js.text("The version of the tool."),
            "tool": js.text("SHA-256 over the tool's source.", js.SHA256),
            **{
                kind: js.listing(f"The {words} that it rested on.", _file())
                for kind, words in (
                    ("terms", "terms"),
                    ("reference", "reference files"),
                    ("settings", "settings and letter templates"),
                )
            },
            **js.properties_of(Decisions),
            "fingerprint": js.text("The fingerprint of the evidence.", js.SHA256),
            "findings": js.rows_of(Findings, "The twenty conditions.", without=("claim",)),
            "evidence_rows": js.listing("The records that the findings cite.", _row()),
        }
    )


def _file() -> js.Schema:
    return js.record(
        {
            "path": js.text("Its path below the workspace."),
            "sha256": js.text("SHA-256 of its content.", js.SHA256),
        }
    )


def _row() -> js.Schema:
    return js.record(
        {
            "feed": js.word("The feed.", codes.FEEDS),
            "key": js.text("The record's key."),
            "file": js.text("The export that held it."),
            "line": js.integer("Its line there.", least=0),
            "file_sha256": js.or_null(js.text("SHA-256 of the export.", js.SHA256)),
            "row_sha256": js.text("SHA-256 of the record.", js.SHA256),
            "arrived_on": js.day("The day on which this content first came."),
            "values": {
                "type": "object",
                "description": "Its values by column, as text; those that are empty are left out.",
                "additionalProperties": {"type": "string"},
            },
        }
    )


def _difference() -> js.Schema:
    return js.record(
        {
            "what": js.text("The claim, a column of decisions, or a condition."),
            "then": {"description": "What it was; of a condition its outcome and reason."},
            "now": {"description": "What it is; of a condition its outcome and reason."},
            "because": js.text("Why: what of its grounds has changed."),
        }
    )
