"""The rules that set rows aside, and the sentence that each gives.

Belongs here: rule names, what each says of a value, and the way out. Does not belong here: finding
the rows (`parsing`, `accounting`), the rules of reading a file (`pipelines.exports`).

A sentence is `<column> "<value>" <phrase>; <remedy>.` so that people can act on it and `problems`
can group rows by its first half.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl


class Rule(NamedTuple):
    """What a rule says of a value, and what to do about it."""

    phrase: str
    remedy: str


_SOURCE = "correct it in the source"
_UNKNOWN = "add it there, say in aliases.csv what it means, or correct it in the source"
RULES = {
    "required": Rule("is empty", "every row needs it, so fill it in"),
    "date": Rule(
        "is no date", "write it as YYYY-MM-DD, or name its form under dates in the mapping"
    ),
    "impossible_date": Rule(
        "is no date", f"no calendar has that day from the year 1900 to 2199, so {_SOURCE}"
    ),
    "ambiguous_date": Rule(
        "may be two dates",
        "the mapping's date formats read it as different days, so keep one format or write it as "
        "YYYY-MM-DD",
    ),
    "moment": Rule(
        "is no date and time", "write it as in 2026-03-31T14:05:00, with an offset where it has one"
    ),
    "number": Rule(
        "is no number",
        "write digits with the decimal mark that the mapping names, `.` where it names none",
    ),
    "ambiguous_number": Rule(
        "may be thousands or a fraction",
        "name the mark under thousands or decimal in the mapping, or write it without one",
    ),
    "whole_number": Rule("is no whole number", "write one such as 2"),
    "result": Rule(
        "is no laboratory result", "write a number, a bound such as `<0.05`, `ND` or `BDL`"
    ),
    "no_bound": Rule("is no temperature", "write a number; only analytes may be given as a bound"),
    "amount": Rule("is no amount", "write a number of at most 12 digits before the decimal mark"),
    "hours": Rule("is no number of hours", "write one such as 1.5"),
    "yes_no": Rule("is neither yes nor no", "write yes or no, or translate it in the mapping"),
    "word": Rule("is no word of the list", "use one of: {words}; or translate it in the mapping"),
    "one_or_two": Rule("is neither 1 nor 2", _SOURCE),
    "region": Rule("is no ISO 3166-2 code", "write one such as US-NM"),
    "negative": Rule("is below zero", _SOURCE),
    "below_one": Rule("is below one", _SOURCE),
    "site_or_serial": Rule("is empty, and so is serial", "fill in one of the two"),
    "some_amount": Rule(
        "is empty, and so are labor_amount and travel_amount", "fill in what was credited"
    ),
    "unknown_unit": Rule(
        "is no unit that is known", "name the unit of the column under [units] in the mapping"
    ),
    "unfit_unit": Rule(
        "is a unit that does not fit", "name the unit of the column under [units] in the mapping"
    ),
    "unknown_model": Rule("is not in models.csv", _UNKNOWN),
    "unknown_product": Rule("is not in treatments.csv", _UNKNOWN),
    "unknown_cause": Rule("is not in causes.csv", _UNKNOWN),
    "claim_on_repair": Rule(
        "is a claim number on a call that is no repair", "take it out or correct the kind"
    ),
    "claim_once": Rule(
        "is a claim number that stands on an earlier repair call", "give each claim its own number"
    ),
}
REASON_SCHEMA = {
    "line": pl.Int64,
    "column": pl.String,
    "value": pl.String,
    "rule": pl.String,
    "reason": pl.String,
}
_LONGEST = 60


def no_reasons() -> pl.DataFrame:
    """An empty frame of reasons."""
    return pl.DataFrame(schema=REASON_SCHEMA)


def reasons(
    rows: pl.DataFrame,
    column: str,
    value: str | None,
    rule: str | pl.Expr,
    words: Sequence[str] = (),
) -> pl.DataFrame:
    """One reason a row.

    Args:
        rows: the rows that fail, with `source_line`; where they have `source_file`, `source_sheet`
            and `source_part`, the reasons have `file`, `sheet` and `part`.
        column: the feed's column.
        value: the column of `rows` with the text as it stood; None where there is none.
        rule: the rule, or an expression that tells it for each row.
        words: the words that the column takes, for the rule `word`.
    """
    text = pl.lit("") if value is None else pl.col(value).fill_null("")
    rule_expr = pl.lit(rule) if isinstance(rule, str) else rule
    place = {
        "file": "source_file",
        "sheet": "source_sheet",
        "line": "source_line",
        "part": "source_part",
    }
    return (
        rows.with_columns(_text=text, _rule=rule_expr)
        .with_columns(_shown=shown_text(pl.col("_text")))
        .select(
            *(pl.col(of).alias(name) for name, of in place.items() if of in rows.columns),
            column=pl.lit(column),
            value=pl.col("_text"),
            rule=pl.col("_rule"),
            reason=_sentence(column, pl.col("_shown"), pl.col("_rule"), words),
        )
    )


def _sentence(column: str, shown: pl.Expr, rule: pl.Expr, words: Sequence[str]) -> pl.Expr:
    listed = ", ".join(words)
    endings = {
        name: f"{entry.phrase}; {entry.remedy.format(words=listed)}."
        for name, entry in RULES.items()
    }
    rest = rule.replace_strict(endings, return_dtype=pl.String)
    quoted = pl.when(shown == "").then(pl.lit("")).otherwise(pl.format(' "{}"', shown))
    return pl.format("{}{} {}", pl.lit(column), quoted, rest)


def shown_text(text: pl.Expr) -> pl.Expr:
    """A text on one line, cut where it is long."""
    flat = text.str.replace_all(r"\s+", " ")
    return pl.when(flat.str.len_chars() > _LONGEST).then(flat.str.head(57) + "…").otherwise(flat)
