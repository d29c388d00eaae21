"""Text to typed values by the kind of a column, as expressions over whole columns.

Belongs here: which reading serves which kind. Does not belong here: the readings of numbers and
dates themselves (`numerals`, `dates`, `moments`), why a value failed (`reasons`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.records import numerals
from pipelines.records.dates import days
from pipelines.records.moments import moments
from pipelines.records.numerals import Marks
from pipelines.records.units_of_measure import Conversion, RowConversion

YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
_NOT_IN_SERIALS = r"[\s./\-\u2010-\u2015\u2212]"


@dataclass(frozen=True)
class Typed:
    """A column's values, the bounds of its non-detects, and whether each text was understood.

    An empty text is understood: it means not known.
    """

    value: pl.Expr
    below: pl.Expr | None
    ok: pl.Expr


def typed(
    kind: str,
    text: pl.Expr,
    words: Sequence[str],
    marks: Marks,
    patterns: tuple[str, ...],
    timezone: str,
    unit: Conversion | RowConversion = Conversion(),  # noqa: B008 - frozen
) -> Typed:
    """The typed values of a text column of one kind (see `schemas.columns`)."""
    match kind:
        case "text":
            value = text
        case "serial":
            value = serials(text)
        case "region":
            value = text.str.to_uppercase()
        case "word":
            lower = text.str.to_lowercase()
            value = pl.when(lower.is_in(list(words))).then(lower)
        case "flag":
            value = flags(text)
        case "day":
            value = days(text, patterns)
        case "moment":
            value = moments(text, patterns, timezone)
        case "integer":
            value = numerals.wholes(text, marks)
        case "money":
            value = numerals.money(text, marks)
        case "hours":
            value = numerals.hours(text, marks)
        case "number":
            value = unit.apply(numerals.floats(text, marks))
        case "analyte":
            return analytes(text, marks, unit)
        case _:
            raise AssertionError(f"no feed has a column of kind {kind}")
    if kind in ("text", "serial", "region"):
        return Typed(value, None, pl.lit(True))
    return Typed(value, None, text.is_null() | value.is_not_null())


def analytes(text: pl.Expr, marks: Marks, unit: Conversion | RowConversion) -> Typed:
    """Laboratory results: a value, or the bound of a non-detect in the feed's unit."""
    value = unit.apply(numerals.floats(text, marks))
    below = unit.apply(numerals.floats(numerals.bound_text(text), marks))
    known = text.is_null() | value.is_not_null() | below.is_not_null()
    return Typed(value, below, known | numerals.without_bound(text))


def serials(text: pl.Expr) -> pl.Expr:
    """Upper case, without spaces, dashes, dots and slashes; null where nothing is left."""
    bare = text.str.replace_all(_NOT_IN_SERIALS, "").str.to_uppercase()
    return pl.when(bare != "").then(bare)


def flags(text: pl.Expr) -> pl.Expr:
    """Yes or no, in any case."""
    lower = text.str.to_lowercase()
    return pl.when(lower.is_in(list(YES))).then(True).when(lower.is_in(list(NO))).then(False)
