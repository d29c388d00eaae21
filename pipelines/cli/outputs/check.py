"""What `check` found: accounts, problems, numbers that come near, feeds."""

from __future__ import annotations

from pipelines.records.accounting import ENDS
from schemas import codes
from schemas import json_schema as js
from schemas.accounts import JoinMisses, Joins, LeftOut, RowAccounts


def checked() -> js.Schema:
    """Everything that a check tells."""
    return js.record(
        {
            "totals": js.record(
                {"files": js.integer("Export files.")}
                | {
                    name: form
                    for name, form in js.properties_of(RowAccounts).items()
                    if name in ("rows_read", "rows_split", *ENDS)
                },
                "The sums over all files.",
            ),
            "accounts": js.rows_of(RowAccounts, "What became of the rows of each file."),
            "problems": js.listing("What would be set aside, by what must be mended.", problem()),
            "suggestions": js.listing(
                "Serials on no register that are one character from one that is.",
                _near("serial", "The serial as it stands there."),
            ),
            "claim_suggestions": js.listing(
                "Claim numbers on file nowhere that are one character from one that is.",
                _near("claim", "The claim number as it stands there."),
            ),
            "absent_headers": js.listing(
                "Headers that a mapping names and a file lacks.",
                js.record(
                    {
                        "feed": js.word("The feed.", codes.FEEDS),
                        "file": js.text("The file, below exports/."),
                        "column": js.text("The feed's column that stays empty."),
                        "sentence": js.text("What is lacking, in one sentence."),
                    }
                ),
            ),
            "left_out": js.listing("Rows that mappings leave out on purpose.", _left_out()),
            "unused": js.texts("Mappings and entries that do nothing, a sentence each."),
            "feeds": js.listing("How far each feed goes.", _feed()),
            "joins": js.rows_of(Joins, "How well feeds find each other."),
            "join_misses": js.rows_of(JoinMisses, "What finds nothing."),
            "attention": js.texts(
                "Example terms, and joins that match too little, a sentence each."
            ),
            "exit_code": js.integer("0 nothing; 1 something needs a person.", most=1),
        }
    )


def problem() -> js.Schema:
    """What is wrong, once for all rows of which it holds."""
    return js.record(
        {
            "feed": js.word("The feed; empty where the file is of none.", ["", *codes.FEEDS]),
            "column": js.text("The feed's column; empty where a whole row or file is meant."),
            "rule": js.text("The rule, by name.", "^[a-z][a-z0-9_]*$"),
            "rows": js.integer("Rows that it concerns; 0 where a whole file is meant."),
            "value": js.text("What stands at the first place."),
            "other_values": js.integer("How many other values stand elsewhere."),
            "first_file": js.text("The first file, below exports/."),
            "first_line": js.integer("The line there.", least=1),
            "sentence": js.text("What is the case, in one sentence."),
            "remedy": js.text("What to do; empty where the sentence says it."),
        }
    )


def _near(name: str, description: str) -> js.Schema:
    return js.record(
        {
            "feed": js.word("The feed.", codes.FEEDS),
            "file": js.text("The file, below exports/."),
            "line": js.integer("The line on which the row begins.", least=1),
            name: js.text(description),
            "suggestion": js.text("The one on file that it may be."),
        }
    )


def _left_out() -> js.Schema:
    properties = js.properties_of(LeftOut)
    return js.record(
        {name: properties[name] for name in ("feed", "mapping", "reason")}
        | {"rows": js.integer("How many.")}
    )


def _feed() -> js.Schema:
    return js.record(
        {
            "feed": js.word("The feed.", codes.FEEDS),
            "through_date": js.or_null(js.day("The day up to which it is complete.")),
            "files": js.integer("Its files."),
            "rows_read": js.integer("Data rows in them."),
            "set_aside": js.integer("Rows of it that would be set aside."),
            "stale": js.flag("Whether it has not come for too long."),
            "set_aside_share": js.number("The share that would be set aside.", least=0, most=1),
            "beyond_tolerance": js.flag("Whether that is more than the settings allow."),
        }
    )
