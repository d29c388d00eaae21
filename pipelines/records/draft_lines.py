"""The lines of a drafted mapping, part by part, each with its reason.

Belongs here: wording, and what is written or only proposed. Does not belong here: pairing headers
with columns (`draft`), the guesses behind the lines (`likely_forms`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from typing import Protocol

import polars as pl

from pipelines.records.dates import format_pattern, has_two_readings
from pipelines.records.headers import EITHER, bare
from pipelines.records.likely_columns import SURE, Guess, likeness
from pipelines.records.likely_forms import (
    date_forms,
    number_marks,
    unit_by_size,
    unit_in_name,
    word_for,
)
from pipelines.records.mapping_checks import LONG_ANALYTES
from pipelines.records.numerals import Marks, floats
from pipelines.records.spoken_names import COLUMNS
from pipelines.records.typed_values import NO, YES
from schemas.columns import fields, required_columns
from schemas.feeds import FEED_TABLES

_MEASURED = ("number", "analyte")
_NUMBERS = (*_MEASURED, "integer", "money", "hours")
_MANY = 30  # words of one column that are worth a line each


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
        f"# A draft of mappings/{feed}.toml, made from the header and {_count(rows, 'row')} of one "
        "export. Nothing has been applied.",
        "# Read it, correct it, and save it under that name. A line that is commented out waits "
        "for your decision.",
    ]


def marks(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """How numbers are written, where that is not with a plain decimal point."""
    texts = [export.values(p)["text"] for c, p in sure.items() if _kind(export, c) in _NUMBERS]
    if not texts:
        return []
    numbers = pl.concat(texts)
    read = number_marks(numbers)
    most = max(read.values())
    best = [form for form, count in read.items() if count == most]
    if most == 0 or best[0] == Marks():
        return []
    told = (
        f"reads {most} of {_count(len(numbers), 'number')}, a plain decimal point {read[Marks()]}"
    )
    thousands, comma = Marks(".", ","), Marks(",")
    if comma in best and thousands in best:
        return [
            '# decimal = ","    # every comma may be for thousands or for fractions; keep one of',
            f'# thousands = ","  # these two lines. Either {told}.',
        ]
    lines = [f'decimal = ","  # {told}'] if best[0].decimal == "," else []
    if best[0].thousands:
        lines.append(f"thousands = {_text(best[0].thousands)}  # {told}")
    return lines


def dates(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """The formats that read all dates, and which rows another format reads as other days."""
    places = [p for c, p in sure.items() if _kind(export, c) in ("day", "moment")]
    if not places:
        return []
    values = pl.concat([export.values(place) for place in places])
    found = date_forms(values)
    lines = []
    sound = [form for form in found.formats if form not in found.rivals]
    if sound:
        lines.append(f"dates = [{', '.join(_text(form) for form in sound)}]")
    for form in found.formats:
        other, rows, first = found.unsure.get(form, ("", 0, []))
        at = f"{_count(rows, 'row')} (lines {', '.join(map(str, first))}{', …' * (rows > 5)})"
        if form in found.rivals:
            key = "add to dates" if sound else "dates"
            lines += [
                f"# {form} and {other} both read all of these dates, but {at} as different days;",
                "# ask who made the export, and keep one of:",
                f"# {key} = [{_text(form)}]",
                f"# {key} = [{_text(other)}]",
            ]
        elif rows:
            lines.append(f"# {other} would read {at} as other days, but cannot read all of them.")
    unread, example = found.unread
    if unread:
        lines.append(f"# No format reads {_count(unread, 'date')}, such as {_text(example)}.")
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
        f"# Together these formats leave {_count(len(clash), 'row')} ambiguous (lines {first}); "
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
        if _kind(export, guess.column) in ("day", "moment") and guess.score >= SURE:
            why += ", and the values are dates"
        line = f"{guess.column} = {_text(guess.header)}"
        lines.append(f"{line}  # {why}" if guess.score >= SURE else f"# {line}  # perhaps: {why}")
    used = {guess.place for guess in guesses if guess.score >= SURE}
    extra = [name for place, name in enumerate(export.header) if place not in used and name]
    if extra:
        told = ", ".join(_text(_flat(name)) for name in extra)
        lines.append(f"# no column of the feed (kept with the landed row): {told}")
    return lines


def units(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """Units that headers name; units that only the size of the values suggests are proposals."""
    lines = []
    for column, place in sure.items():
        if _kind(export, column) not in _MEASURED or column == "value":
            continue
        header = export.header[place]
        named = unit_in_name(column, header)
        if named is not None:
            lines.append(f"{column} = {_text(named)}  # the header {_text(_flat(header))} says so")
            continue
        numbers = export.values(place).select(
            pl.coalesce(floats(pl.col("text"), Marks()), floats(pl.col("text"), Marks(",")))
        )
        median = numbers.select(pl.all().median()).item()
        by_size = None if median is None else unit_by_size(column, median)
        if by_size is not None:
            unit, why = by_size
            lines.append(
                f"# {column} = {_text(unit)}  # perhaps: half of the values are below {median:g}, "
                f"and {why}"
            )
    return ["[units]", *lines] if lines else []


def constants(feed: str, sure: Collection[str], long: bool) -> list[str]:
    """What every row needs and no header seems to hold."""
    table = fields(FEED_TABLES[feed])
    missing = [name for name in required_columns(FEED_TABLES[feed]) if name not in sure]
    lines = []
    for column in missing:
        words = (table[column].metadata or {})["words"]
        told = f"one of {', '.join(words)}" if words else "one value for all rows"
        example = words[0] if words else "…"
        lines.append(
            f"# {column} = {_text(example)}  # every row needs it and no header looks like it: "
            f"name its header under [columns], or here {told}"
        )
    if feed in EITHER and not any(name in sure for name in EITHER[feed]):
        lines.append("# No header looks like site or serial; one of the two is needed.")
    if long:
        lines += [
            f"# No header looks like the {part}; name it under [columns]."
            for part in ("analyte", "value")
            if part not in sure
        ]
    return ["[constants]", *lines] if lines else []


def likely_analytes(names: Sequence[str]) -> dict[str, tuple[str, float]]:
    """By the laboratory's name, the feed's column that it is probably, and the score."""
    scored = []
    for name in names:
        for column in LONG_ANALYTES:
            spoken = [column.replace("_", " "), *COLUMNS["water_tests"][column]]
            scored.append((likeness(name, spoken)[0], name, column))
    kept: dict[str, tuple[str, float]] = {}
    for score, name, column in sorted(scored, key=lambda s: (-s[0], s[1], s[2])):
        used = {told for told, _ in kept.values()}
        if score >= SURE and name not in kept and column not in used:
            kept[name] = (column, score)
    return kept


def analytes(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """Which of the laboratory's names is which column; the others are kept as they are."""
    counts = export.values(sure["analyte"])["text"].value_counts(sort=True)
    names = counts["text"].to_list()
    found = likely_analytes(names)
    lines = ["[analytes]"]
    for name, rows in counts.rows():
        if name in found:
            column, score = found[name]
            told = f"{score:.0f} of 100, {_count(rows, 'row')}"
            lines.append(f"{_text(name)} = {_text(column)}  # {told}")
        elif len(lines) < 200:
            lines.append(f"# {_text(name)} = …  # no analyte of the feed, {_count(rows, 'row')}")
    return lines


def translations(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """For listed words and yes/no: what the export writes instead."""
    parts: list[list[str]] = []
    for column, place in sure.items():
        kind = _kind(export, column)
        if kind not in ("word", "flag"):
            continue
        words = (fields(FEED_TABLES[export.feed])[column].metadata or {})["words"]
        listed = words or ["yes", "no"]
        known = words or [*YES, *NO]
        counts = (
            export.values(place)
            .group_by(pl.col("text").str.to_lowercase().alias("lower"))
            .agg(pl.col("text").first(), pl.len())
            .filter(~pl.col("lower").is_in(known))
            .sort("len", "lower", descending=[True, False])
        )
        if counts.is_empty():
            continue
        lines = [f"[values.{column}]"]
        for text, rows in counts.select("text", "len").head(_MANY).rows():
            word, score = word_for(text, listed)
            told = _count(rows, "row")
            if score >= SURE:
                lines.append(f"{_text(text)} = {_text(word)}  # {score:.0f} of 100, {told}")
            else:
                lines.append(
                    f'# {_text(text)} = "…"  # {told}, set aside until translated into one of: '
                    f"{', '.join(listed)}"
                )
        parts.append(lines)
    return [line for number, part in enumerate(parts) for line in ([""] if number else []) + part]


def _kind(export: Texts, column: str) -> str:
    table = fields(FEED_TABLES[export.feed])
    if column not in table:  # the parts of the long layout
        return "number" if column == "value" else "text"
    return (table[column].metadata or {})["kind"]


def _text(text: str) -> str:
    """A TOML string; what TOML and JSON escape alike, save DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
