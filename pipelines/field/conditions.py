"""Conditions on units, days and failures, as people write them.

Belongs here: reading them. Does not belong here: which days and failures meet them (`selection`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from pipelines.errors import UsageError
from pipelines.field.dimensions import ALL_DIMENSIONS, OF_FAILURE, OF_UNIT
from pipelines.units.unit_dimensions import letters_of, numbers_of
from pipelines.workspace.toml_file import suggest
from pipelines.workspace.values import NOT_IN_SERIALS
from schemas import codes

DATES = ("shipped_on", "clock_start", "failed_on")
WORDS_IN_ORDER = ("lot", "entry", "shipped", "year")
_QUARTER = (r"\d{4}-Q[1-4]", "2025-Q3")
_FORMS = {"entry": _QUARTER, "shipped": _QUARTER, "year": (r"\d{4}", "2025")}
RANGED = ("serial", *DATES, *WORDS_IN_ORDER, *codes.LIMITED_ANALYTES)
KNOWN = tuple(dict.fromkeys((*ALL_DIMENSIONS, *RANGED)))


@dataclass(frozen=True)
class Condition:
    """One condition: a name and the values of which one must hold, or a range with its ends."""

    name: str
    values: tuple[str, ...] = ()
    low: str = ""
    high: str = ""

    @property
    def is_range(self) -> bool:
        """Whether it is a range."""
        return not self.values

    @property
    def of_failure(self) -> bool:
        """Whether it parts the failures only."""
        return self.name in OF_FAILURE

    @property
    def of_unit(self) -> bool:
        """Whether a unit meets it on all its days or on none."""
        return self.name in (*OF_UNIT, "serial", "shipped_on", "clock_start")

    @property
    def alternatives(self) -> tuple[Condition, ...]:
        """Days and numbers one by one, each as a range from itself to itself; else itself."""
        if self.is_range or self.name not in (*DATES, *codes.LIMITED_ANALYTES):
            return (self,)
        return tuple(Condition(self.name, (), value, value) for value in self.values)

    def __str__(self) -> str:
        written = "|".join(self.values) if self.values else f"{self.low}..{self.high}"
        return f"{self.name}={written}"


def read_conditions(texts: Sequence[str]) -> list[Condition]:
    """Conditions as they are written: `NAME=VALUE`, `NAME=A|B` or `NAME=A..B`.

    Raises:
        UsageError: no such name, no value, or a range of what has none, or that ends before it
            begins.
    """
    return [_read(text) for text in texts]


def _read(text: str) -> Condition:
    name, equals, written = (part.strip() for part in text.partition("="))
    if not equals or not written:
        raise UsageError(f'"{text}" is no condition; write NAME=VALUE, NAME=A|B or NAME=A..B.')
    if name not in KNOWN:
        raise UsageError(f'"{name}" is no dimension; {suggest(name, KNOWN)}')
    if ".." not in written:
        values = tuple(
            dict.fromkeys(value.strip() for value in written.split("|") if value.strip())
        )
        if not values:
            raise UsageError(f'"{text}" names no value; write NAME=VALUE or NAME=A|B.')
        if name in (*DATES, *codes.LIMITED_ANALYTES):
            ranges = [_range(name, value, value, text) for value in values]
            return Condition(name, tuple(one.low for one in ranges))
        if name == "serial":
            values = tuple(bare_serial(value) for value in values)
        return Condition(name, values)
    if name not in RANGED:
        raise UsageError(
            f'"{text}": {name} has no ranges; name its values, joined by |. '
            f"Ranges go with {', '.join(RANGED[:8])} and the analytes."
        )
    low, _, high = (part.strip() for part in written.partition(".."))
    if name == "serial":
        low, high = (bare_serial(end) if end else end for end in (low, high))
    return _range(name, low, high, text)


def _range(name: str, low: str, high: str, text: str) -> Condition:
    if name in DATES:
        low, high = (_day(end, text) if end else end for end in (low, high))
    return _checked_range(Condition(name, (), low, high), text)


def _day(end: str, text: str) -> str:
    try:
        if date.fromisoformat(end).isoformat() == end:  # neither 20260531 nor a week's day
            return end
        raise ValueError
    except ValueError:
        raise UsageError(f'"{text}": "{end}" is no day; write it as 2026-05-31.') from None


def _checked_range(condition: Condition, text: str) -> Condition:
    low, high = condition.low, condition.high
    if not low and not high:
        raise UsageError(f'"{text}" has neither end; write at least one.')
    if condition.name in codes.LIMITED_ANALYTES:
        for end in (low, high):
            if end and not _is_number(end):
                raise UsageError(f'"{text}": "{end}" is no number.')
        ends_first = bool(low and high) and float(high) < float(low)
    elif condition.name in ("serial", "lot"):
        ends_first = bool(low and high) and serial_key(high) < serial_key(low)
    else:
        form, example = _FORMS.get(condition.name, (r".+", ""))
        for end in (low, high):
            if end and not re.fullmatch(form, end):
                raise UsageError(
                    f'"{text}": "{end}" is no {condition.name}; write it as {example}.'
                )
        ends_first = bool(low and high) and high < low
    if ends_first:
        raise UsageError(f'"{text}" ends before it begins; swap its ends.')
    return condition


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text, re.ASCII) is not None


def bare_serial(text: str) -> str:
    """A serial as records have it: upper case, without spaces, dashes, dots and slashes."""
    bare = NOT_IN_SERIALS.sub("", text).upper()
    if not bare:
        raise UsageError(f'"{text}" is no serial; write its letters and digits.')
    return bare


def serial_key(serial: str) -> tuple[str, str]:
    """How a serial or a lot compares: its text without digits, then its numbers."""
    frame = pl.DataFrame({"s": [serial.upper()]})
    letters, numbers = frame.select(a=letters_of(pl.col("s")), b=numbers_of(pl.col("s"))).row(0)
    return letters, numbers
