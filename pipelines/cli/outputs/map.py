"""What `map` drafts: the feeds that a file may be, the drafts, and what would load under one."""

from __future__ import annotations

from pipelines.cli.outputs.check import problem
from pipelines.records.rule_checks import VERBS
from schemas import codes
from schemas import json_schema as js
from schemas.accounts import Joins, RowAccounts
from schemas.feeds import record_schema

_STATE = ("active", "perhaps")
_SCORED = {
    "type": "array",
    "prefixItems": [js.word("The feed.", codes.FEEDS), js.number("The score.", least=0, most=1)],
    "items": False,
    "minItems": 2,
}


def mapped() -> js.Schema:
    """Everything that a draft tells; `trial` is there with --try alone."""
    properties = {
        "file": js.text("The export for which it was drafted."),
        "feed": js.word("The feed of the first draft.", codes.FEEDS),
        "feeds": js.listing("Feed and score from 0 to 1, best first.", _SCORED),
        "drafts": js.listing("One draft for sheets of the same headers.", _draft()),
        "mapping": js.text("The first draft, as TOML with its reasons as comments."),
    }
    return js.one_of([js.record(properties), js.record({**properties, "trial": _trial()})])


def _draft() -> js.Schema:
    return js.record(
        {
            "feed": js.word("The feed.", codes.FEEDS),
            "sheets": js.texts("The sheets; empty for a text file."),
            "header_line": js.integer("The line of the header.", least=1),
            "rows": js.integer("Data rows."),
            "layout": js.word("One row a sample, or one a result.", ("wide", "long")),
            "decimal": js.word("The decimal mark.", (".", ",")),
            "thousands": js.or_null(js.text("How thousands are written, where that is told.")),
            "dates": js.texts("Date formats besides ISO 8601."),
            "toml": js.text("The draft, as TOML."),
            "columns": js.listing("The header that each column probably comes from.", _column()),
            "analytes": js.listing("What the laboratory's names are.", _analyte()),
            "values": js.listing("Words that the export writes in place of the feed's.", _value()),
            "leave_out": js.listing("Rows and sheets that are no data.", _left_out()),
            "unused": js.texts("Headers that are no column of the feed."),
            "missing": js.texts("Required columns for which no header was found."),
            "questions": js.listing(
                "What only a person can tell.",
                js.record(
                    {
                        "about": js.text("The feed's column, or the key of the mapping."),
                        "question": js.text("The question."),
                    }
                ),
            ),
        }
    )


def _column() -> js.Schema:
    return js.record(
        {
            "column": js.text("The feed's column, or part of the long layout."),
            "headers": js.texts("The export's headers."),
            "state": js.word("Whether it is written, or waits for a person.", _STATE),
            "name_likeness": js.number("How much the name speaks for it.", least=0, most=1),
            "value_likeness": js.number("How much the values do.", least=0, most=1),
            "unit": js.or_null(js.text("The unit that it probably arrives in.")),
            "steps": js.listing("Steps, one verb each.", _step()),
            "reason": js.text("Why, and why it waits."),
        }
    )


def _analyte() -> js.Schema:
    return js.record(
        {
            "written": js.text("The laboratory's name."),
            "column": js.or_null(js.text("The feed's column; null where it is of none.")),
            "basis": js.or_null(js.text("What it may be expressed as, where that is open.")),
            "state": js.word("Whether it is written, or waits for a person.", _STATE),
            "rows": js.integer("Rows."),
        }
    )


def _value() -> js.Schema:
    return js.record(
        {
            "column": js.text("The feed's column."),
            "written": js.text("The export's word."),
            "means": js.text("The feed's word; empty where nobody can tell."),
            "state": js.word("Whether it is written, or waits for a person.", _STATE),
            "rows": js.integer("Rows."),
        }
    )


def _step() -> js.Schema:
    properties = {verb: {"description": f"The step {verb}."} for verb in VERBS}
    return {
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
        "minProperties": 1,
        "maxProperties": 1,
    }


def _left_out() -> js.Schema:
    schema = js.record(
        {
            "reason": js.text("Why."),
            "state": js.word("Whether it is written, or waits for a person.", _STATE),
            "rows": js.integer("Rows."),
            "header": js.text("The export's header that is tested."),
            "is": js.texts("Whole cells."),
            "first_cell": js.texts("The first cell that is not empty."),
            "sheets": js.texts("Sheets."),
        }
    )
    return {name: part for name, part in schema.items() if name != "required"}


def _record() -> js.Schema:
    """A record of one feed: its columns and where it stands."""
    names = dict.fromkeys(name for feed in codes.FEEDS for name in record_schema(feed).names())
    properties = {name: {"description": f"The column {name}."} for name in names}
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _trial() -> js.Schema:
    return js.record(
        {
            "accounts": js.rows_of(RowAccounts, "What would become of the rows."),
            "problems": js.listing("What would be set aside, by what must be mended.", problem()),
            "joins": js.rows_of(Joins, "How well the rows find what they name."),
            "records": js.listing("The first records.", _record()),
        },
        "What would load, with --try.",
    )
