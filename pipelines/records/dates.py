"""Calendar days as exports write them, read as whole columns.

Belongs here: ISO 8601, the date formats of a mapping, ambiguity. Does not belong here: times of day
(`moments`), what a date means (`schemas.feeds`).

A date is ISO 8601 (`2026-03-31`, also with a time, which is cut and never shifted) or has one of
the mapping's formats, which are turned into regular expressions: library parsers read `3/7/24`
under `%Y` as the year 24.
"""

from __future__ import annotations

import re

import polars as pl

FIRST_YEAR, LAST_YEAR = 1900, 2199  # outside of it a date is a slip or a spreadsheet's zero

_CLOCK = r"(?:[01][0-9]|2[0-4])(?::[0-5][0-9](?::[0-5][0-9]|:60)?(?:[.,][0-9]+)?)?"
_OFFSET = r"(?: ?(?:[Zz]|[+-][0-9]{2}(?::?[0-9]{2})?))?"
_ISO_DAY = rf"^[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}(?:[Tt ]{_CLOCK}{_OFFSET})?$"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FULL_MONTHS = (
    "january|february|march|april|may|june|july|august|september|october|november|december"
)
_PARTS = {
    "d": ("day", "[0-9]{1,2}"),
    "e": ("day", " ?[0-9]{1,2}"),
    "m": ("month", "[0-9]{1,2}"),
    "Y": ("year", "[0-9]{4}"),
    "y": ("short_year", "[0-9]{2}"),
    "b": ("month_name", "(?i:" + "|".join(_MONTHS) + r")\.?"),
    "B": ("month_name", f"(?i:{_FULL_MONTHS})"),
    "H": ("hour", "(?:[01]?[0-9]|2[0-4])"),
    "I": ("hour", "(?:0?[1-9]|1[0-2])"),
    "M": ("minute", "[0-5]?[0-9]"),
    "S": ("second", "(?:[0-5]?[0-9]|60)"),
    "f": ("fraction", "[0-9]{1,9}"),
    "p": ("half", r"(?i:[ap]\.?m\.?)"),
    "a": ("weekday", r"(?i:mon|tue|wed|thu|fri|sat|sun)\.?"),
    "A": ("weekday", "(?i:monday|tuesday|wednesday|thursday|friday|saturday|sunday)"),
    "z": ("offset", r"(?:[Zz]|[+-][0-9]{2}:?[0-9]{2})"),
}
_SHORTHANDS = {"%T": "%H:%M:%S", "%R": "%H:%M", "%F": "%Y-%m-%d", "%D": "%m/%d/%y", "%h": "%b"}
_PIECE = re.compile(r"%-?[A-Za-z%]|%|[^%]")


class FormatFault(ValueError):
    """What is wrong with a date format: the rest of a sentence that begins with the format."""


def format_pattern(form: str) -> str:
    """The regular expression of a date format such as `%m/%d/%Y`, with named groups.

    Raises:
        FormatFault: a directive is not known, or the format does not name one day.
    """
    for short, full in _SHORTHANDS.items():
        form = form.replace(short, full)
    pieces = _PIECE.findall(form)
    out, seen = [], []
    for piece, before, behind in zip(pieces, ["", *pieces], [*pieces[1:], ""], strict=False):
        if piece in ("%%", "%") or piece[0] != "%":
            if piece == "%":
                raise FormatFault("ends a directive too early; write `%%` for a percent sign.")
            out.append(re.escape(piece[-1]))
            continue
        name, pattern = _part(piece)
        # Without separators only two digits keep day and month apart.
        if _is_part(before) or _is_part(behind):
            pattern = pattern.replace("{1,2}", "{2}").replace("]?[", "][").replace("0?[", "0[")
        out.append(f"(?P<{name}>{pattern})")
        seen.append(name)
    _must_name_one_day(seen)
    return "^" + "".join(out) + "$"


def _is_part(piece: str) -> bool:
    return piece.isdigit() or (piece.startswith("%") and piece != "%%")


def _part(piece: str) -> tuple[str, str]:
    letter = piece[-1]
    if letter not in _PARTS:
        known = ", ".join(f"%{name}" for name in "dmYybBHIMSfpaAz")
        raise FormatFault(f"has `{piece}`, which is not known; use {known}.")
    return _PARTS[letter]


def _must_name_one_day(seen: list[str]) -> None:
    for names in (("day",), ("month", "month_name"), ("year", "short_year")):
        count = sum(seen.count(name) for name in names)
        if count != 1:
            fault = "names no" if count == 0 else "names more than one"
            raise FormatFault(f"{fault} {names[0]}; write it as in `%m/%d/%Y`.")
    if len(set(seen)) != len(seen):
        raise FormatFault("names one part twice; name each part once, as in `%m/%d/%Y`.")


def days(text: pl.Expr, patterns: tuple[str, ...] = ()) -> pl.Expr:
    """Calendar days; null where the text is none, or is ambiguous between the patterns."""
    iso = iso_days(text)
    if not patterns:
        return iso
    readings = [iso, *(_days_as(text, pattern) for pattern in patterns)]
    earliest, latest = pl.min_horizontal(readings), pl.max_horizontal(readings)
    return pl.when(earliest == latest).then(earliest)


def iso_days(text: pl.Expr) -> pl.Expr:
    """Days written as ISO 8601; a time behind one is cut, never shifted."""
    written = pl.when(text.str.contains(_ISO_DAY)).then(text.str.head(10))
    return _in_range(written.str.to_date("%Y-%m-%d", strict=False))


def looks_like_day(text: pl.Expr, patterns: tuple[str, ...] = ()) -> pl.Expr:
    """Whether the text has the form of a date, though no calendar may have the day."""
    return pl.any_horizontal([text.str.contains(form) for form in (_ISO_DAY, *patterns)])


def has_two_readings(text: pl.Expr, patterns: tuple[str, ...]) -> pl.Expr:
    """Whether two forms read the text as different days."""
    readings = [iso_days(text), *(_days_as(text, pattern) for pattern in patterns)]
    return pl.min_horizontal(readings) != pl.max_horizontal(readings)


def _days_as(text: pl.Expr, pattern: str) -> pl.Expr:
    return _in_range(written_day(text, pattern).str.to_date("%Y-%m-%d", strict=False))


def written_day(text: pl.Expr, pattern: str) -> pl.Expr:
    """The day that the pattern reads, written as ISO 8601; null where it does not match."""
    parts = text.str.extract_groups(pattern)
    names = re.findall(r"\?P<(\w+)>", pattern)
    if "year" in names:
        year = parts.struct.field("year")
    else:
        # As strptime does: 69-99 are of the last century.
        short = parts.struct.field("short_year").cast(pl.Int32, strict=False)
        year = (pl.when(short >= 69).then(1900 + short).otherwise(2000 + short)).cast(pl.String)
    if "month" in names:
        month = parts.struct.field("month").str.zfill(2)
    else:
        name = parts.struct.field("month_name").str.head(3).str.to_lowercase()
        numbers = [f"{number:02d}" for number in range(1, 13)]
        month = name.replace_strict(_MONTHS, numbers, default=None, return_dtype=pl.String)
    day = parts.struct.field("day").str.strip_chars().str.zfill(2)
    return pl.concat_str(year, month, day, separator="-")


def _in_range(day: pl.Expr) -> pl.Expr:
    return pl.when(day.dt.year().is_between(FIRST_YEAR, LAST_YEAR)).then(day)
