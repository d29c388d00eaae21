"""The summary of a refresh, which `demo` prints too."""

from __future__ import annotations

from schemas import codes
from schemas import json_schema as js


def summary() -> js.Schema:
    """What came of a refresh: rows, claims, and what needs a person."""
    feed = {"type": "string", "enum": list(codes.FEEDS)}
    return js.record(
        {
            "as_of": js.day("The day as of which claims were decided."),
            "rows_read": js.integer("Data rows in all exports."),
            "records": js.integer("Rows that are records."),
            "superseded": js.integer("Rows replaced by a newer version."),
            "duplicates": js.integer("Rows that came again unchanged."),
            "set_aside": js.integer("Rows kept but not used."),
            "left_out": js.integer("Rows that mappings leave out."),
            "joined": js.integer("Rows joined to those of other files."),
            "rows_split": js.integer("Rows added by splitting cells."),
            "files": js.integer("Export files."),
            "files_set_aside": js.texts("Files set aside whole, below exports/."),
            "set_aside_beyond_tolerance": js.listing(
                "Feeds of which more was set aside than the settings allow.", feed
            ),
            "stale_feeds": js.listing("Feeds that have not come for too long.", feed),
            "claims": js.integer("Claims decided."),
            "verdicts": js.counts("Claims by computed verdict.", codes.VERDICTS),
            "changed_claims": js.integer("Claims changed by the last refresh that changed any."),
            "pages": js.text("Where the first page is."),
            "seconds": js.number("How long it took, in seconds.", least=0),
            "attention": js.texts("What needs a person, a sentence each."),
            "unusual": js.texts("What is not as in other weeks, a sentence each."),
            "exit_code": js.integer("0 done; 1 done, but something needs a person.", most=1),
        }
    )
