"""The lines of a drafted mapping, part by part, each with its reason.

Belongs here: wording, and what is written or only proposed. Does not belong here: pairing headers
with columns (`draft`), the guesses behind the lines (`likely_forms`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Protocol

import polars as pl

from pipelines.exports.header_rows import bare
from pipelines.records.dates import format_pattern, has_two_readings
from pipelines.records.likely_columns import SURE, Guess
from pipelines.records.likely_forms import (
    date_forms,
    number_marks,
    unit_by_size,
    unit_in_name,
)
from pipelines.records.numerals import Marks, floats
from schemas.columns import fields
from schemas.feeds import FEED_TABLES

_MEASURED = ("number", "analyte")
_NUMBERS = (*_MEASURED, "integer", "money", "hours")


class Texts(Protocol):
    """The file that a draft is made of (`draft.Export`)."""

    feed: str
    header: list[str]
    rows: pl.DataFrame

    def values(self, place: int) -> pl.DataFrame:
        """`line` and `text` of a column's values that are not empty."""


def opening(feed: str, rows: int) -> list[str]:
    """What the draft is, and what to do with it."""
    return [
        f"# A draft of mappings/{feed}.toml, made from the header and {count_of(rows, 'row')} of "
        "one export. Nothing has been applied.",
        "# Read it, correct it, and save it under that name. A line that is commented out waits "
        "for your decision.",
    ]


def marks(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """How numbers are written, where that is not with a plain decimal point."""
    texts = [
        export.values(p)["text"] for c, p in sure.items() if column_kind(export, c) in _NUMBERS
    ]
    if not texts:
        return []
    numbers = pl.concat(texts)
    read = number_marks(numbers)
    most = max(read.values())
    best = [form for form, count in read.items() if count == most]
    if most == 0 or best[0] == Marks():
        return []
    told = (
        f"reads {most} of {count_of(len(numbers), 'number')}, a plain decimal point {read[Marks()]}"
    )
    thousands, comma = Marks(".", ","), Marks(",")
    if comma in best and thousands in best:
        return [
            '# decimal = ","    # every comma may be for thousands or for fractions; keep one of',
            f'# thousands = ","  # these two lines. Either {told}.',
        ]
    lines = [f'decimal = ","  # {told}'] if best[0].decimal == "," else []
    if best[0].thousands:
        lines.append(f"thousands = {toml_text(best[0].thousands)}  # {told}")
    return lines


def dates(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """The formats that read all dates, and which rows another format reads as other days."""
    places = [p for c, p in sure.items() if column_kind(export, c) in ("day", "moment")]
    if not places:
        return []
    values = pl.concat([export.values(place) for place in places])
    found = date_forms(values)
    lines = []
    sound = [form for form in found.formats if form not in found.rivals]
    if sound:
        lines.append(f"dates = [{', '.join(toml_text(form) for form in sound)}]")
    for form in found.formats:
        other, rows, first = found.unsure.get(form, ("", 0, []))
        at = f"{count_of(rows, 'row')} (lines {', '.join(map(str, first))}{', …' * (rows > 5)})"
        if form in found.rivals:
            key = "add to dates" if sound else "dates"
            lines += [
                f"# {form} and {other} both read all of these dates, but {at} as different days;",
                "# ask who made the export, and keep one of:",
                f"# {key} = [{toml_text(form)}]",
                f"# {key} = [{toml_text(other)}]",
            ]
        elif rows:
            lines.append(f"# {other} would read {at} as other days, but cannot read all of them.")
    unread, example = found.unread
    if unread:
        lines.append(f"# No format reads {count_of(unread, 'date')}, such as {toml_text(example)}.")
    return lines + _clashes(values, sound)


def _clashes(values: pl.DataFrame, formats: Sequence[str]) -> list[str]:
    if len(formats) < 2:
        return []
    patterns = tuple(format_pattern(form) for form in formats)
    clash = values.filter(has_two_readings(pl.col("text"), patterns))["line"].unique().sort()
    if clash.is_empty():
        return []
    first = ", ".join(map(str, clash.head(5)))
    return [
        f"# Together these formats leave {count_of(len(clash), 'row')} ambiguous (lines {first}); "
        "such rows are set aside."
    ]


def layout(long: bool) -> list[str]:
    """The long layout, where the file has one row an analyte."""
    return ['layout = "long"  # each row is one result: an analyte and its value'] if long else []


def columns(export: Texts, guesses: Sequence[Guess], long: bool) -> list[str]:
    """Which header is which column, which perhaps, and which are left over."""
    own = [g.column for g in guesses if bare(g.header) == bare(g.column)]
    lines = ["[columns]"]
    if own:
        lines.append(f"# by their own names: {', '.join(own)}")
    for guess in sorted(guesses, key=lambda g: g.place):
        if guess.column in own:
            continue
        why = f'the name is like "{guess.resembles}" ({guess.score:.0f} of 100)'
        if guess.by_words:
            why = f"all its values are words of {guess.column}"
        if column_kind(export, guess.column) in ("day", "moment") and guess.score >= SURE:
            why += ", and the values are dates"
        line = f"{guess.column} = {toml_text(guess.header)}"
        lines.append(f"{line}  # {why}" if guess.score >= SURE else f"# {line}  # perhaps: {why}")
    used = {guess.place for guess in guesses if guess.score >= SURE}
    extra = [name for place, name in enumerate(export.header) if place not in used and name]
    if extra:
        told = ", ".join(toml_text(_flat(name)) for name in extra)
        lines.append(f"# no column of the feed (kept with the landed row): {told}")
    return lines


def units(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """Units that headers name; units that only the size of the values suggests are proposals."""
    lines = []
    for column, place in sure.items():
        if column_kind(export, column) not in _MEASURED or column == "value":
            continue
        header = export.header[place]
        named = unit_in_name(column, header)
        if named is not None:
            lines.append(
                f"{column} = {toml_text(named)}  # the header {toml_text(_flat(header))} says so"
            )
            continue
        numbers = export.values(place).select(
            pl.coalesce(floats(pl.col("text"), Marks()), floats(pl.col("text"), Marks(",")))
        )
        median = numbers.select(pl.all().median()).item()
        by_size = None if median is None else unit_by_size(column, median)
        if by_size is not None:
            unit, why = by_size
            lines.append(
                f"# {column} = {toml_text(unit)}  # perhaps: half of the values are below "
                f"{median:g}, and {why}"
            )
    return ["[units]", *lines] if lines else []


def column_kind(export: Texts, column: str) -> str:
    """What a column holds; of the long layout only the value is a number."""
    table = fields(FEED_TABLES[export.feed])
    if column not in table:  # the parts of the long layout
        return "number" if column == "value" else "text"
    return str((table[column].metadata or {})["kind"])


def toml_text(text: str) -> str:
    """A TOML string; what TOML and JSON escape alike, save DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def count_of(number: int, noun: str) -> str:
    """A number of things, in words."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
