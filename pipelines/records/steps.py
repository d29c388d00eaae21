"""Steps of a mapping: small changes of a cell's text before it is read.

Belongs here: what each verb does, as expressions over whole columns. Does not belong here: what
may be wrong with a step (`step_checks`), how the text is read afterwards (`typed_values`).

An empty cell stays empty. A step that does not apply leaves the text as it is, so that what cannot
be read is set aside as it came.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipelines.records.dates import FIRST_YEAR, LAST_YEAR
from pipelines.records.numerals import Marks, plain_digits

StepValue = str | int | bool | tuple[str, ...]
# Days are counted from here. The spreadsheet's 1900 has a 29th of February, so that below day 61
# its count cannot be trusted.
_EPOCHS = {1900: ("1899-12-30", 61), 1904: ("1904-01-01", 0)}
_CUTTING = ("before", "after", "extract", "remove", "replace")  # may leave blanks, or nothing
_LAST_DAY = 110_000  # beyond the year 2199 in both counts
# What stands in a number besides its sign; a number, then what is no part of one.
_DIGITS = r"0-9.,'\x{2019} \x{00a0}\x{2009}\x{202f}"
_NUMBER_AND_UNIT = rf"^((?:<\s*)?[+-]?[0-9.,][{_DIGITS}]*?)\s*([^{_DIGITS}\s+\-].*)$"


@dataclass(frozen=True)
class Step:
    """One step: its verb and what stands behind it."""

    verb: str
    value: StepValue

    @property
    def texts(self) -> tuple[str, ...]:
        """The value of a verb that takes texts."""
        return self.value if isinstance(self.value, tuple) else (str(self.value),)

    @property
    def number(self) -> int:
        """The value of a verb that takes a number."""
        assert isinstance(self.value, int)
        return self.value


def changed(text: pl.Expr, steps: tuple[Step, ...], marks: Marks) -> pl.Expr:
    """The text, which has no blanks at its ends, after all steps; null where nothing is left.

    `split`, `date` and `cell_unit` are no change of the text itself and are passed over.
    """
    for step in steps:
        text = _changed(text, step, marks)
        if step.verb in _CUTTING:
            text = trimmed(text)
    return text


def trimmed(text: pl.Expr) -> pl.Expr:
    """The text without blanks at its ends; null where nothing is left."""
    bare = text.str.strip_chars()
    return pl.when(bare != "").then(bare)


def number_part(text: pl.Expr) -> pl.Expr:
    """The number of a cell that holds a number and a unit; else the text as it is."""
    return pl.coalesce(text.str.extract(_NUMBER_AND_UNIT, 1), text)


def unit_part(text: pl.Expr) -> pl.Expr:
    """The unit behind the number in a cell; null where there is none."""
    return text.str.extract(_NUMBER_AND_UNIT, 2).str.strip_chars()


def split_parts(text: pl.Expr, separators: tuple[str, ...]) -> pl.Expr:
    """The parts between separators as a list, longer separators first, empty parts dropped.

    A cell without any part keeps one that is empty, so that its row is not lost.
    """
    longest = sorted(separators, key=len, reverse=True)
    # A sound row holds no NUL.
    marked = text.str.replace_all("|".join(map(literal, longest)), "\0")
    parts = marked.str.split("\0").list.eval(pl.element().str.strip_chars())
    full = parts.list.filter(pl.element() != "")
    return (
        pl.when(full.list.len() > 0).then(full).otherwise(pl.concat_list(pl.lit(None, pl.String)))
    )


def literal(text: str) -> str:
    """The expression of a text that stands for itself."""
    return re.sub(r"([\\.+*?()|\[\]{}^$#&\-~])", r"\\\1", text)


def _changed(text: pl.Expr, step: Step, marks: Marks) -> pl.Expr:
    texts = step.texts
    match step.verb:
        case "before":
            return _where(text, text.str.extract(f"(?s)^(.*?){literal(texts[0])}", 1))
        case "after":
            return _where(text, text.str.extract(f"(?s)^.*?{literal(texts[0])}(.*)$", 1))
        case "extract":
            group = 1 if _has_group(texts[0]) else 0
            return _where(text, text.str.extract(f"(?i){texts[0]}", group))
        case "remove":
            longest = sorted(texts, key=len, reverse=True)
            return text.str.replace_all(f"(?i){'|'.join(map(literal, longest))}", "")
        case "replace":
            put = texts[1].replace("$", "$$")
            return text.str.replace_all(f"(?i){literal(texts[0])}", put)
        case "empty":
            lower = [one.strip().lower() for one in texts]
            return pl.when(~text.str.to_lowercase().is_in(lower)).then(text)
        case "upper":
            return text.str.to_uppercase()
        case "key":
            return _where(text, trimmed(_key(text)))
        case "pad":
            digits = text.str.contains("^[0-9]+$")
            return pl.when(digits).then(text.str.zfill(step.number)).otherwise(text)
        case "strip_zeros":
            return text.str.replace("^0+([0-9]+)$", "$1")
        case "excel_date":
            return _where(text, _excel_day(text, step.number, marks))
        case "trailing_minus":
            return text.str.replace(rf"^([{_DIGITS}]*[0-9.,])\s*-$", "-$1")
        case "negate":
            return _negated(text, marks)
    return text


def _where(text: pl.Expr, change: pl.Expr) -> pl.Expr:
    """The changed text where the step applies, which is where it is not null."""
    return pl.when(change.is_not_null()).then(change).otherwise(text)


def _has_group(pattern: str) -> bool:
    """Whether an expression has a group that keeps what it matches."""
    inside = re.sub(r"\\.", "", pattern, flags=re.DOTALL)
    inside = re.sub(r"\[\^?\]?[^\]]*\]", "", inside)
    return re.search(r"\((?!\?)|\(\?P?<", inside) is not None


def _key(text: pl.Expr) -> pl.Expr:
    plain = text.str.normalize("NFKD").str.replace_all(r"\p{M}", "").str.to_uppercase()
    return plain.str.replace_all("[^A-Z0-9]+", "-").str.strip_chars("-")


def _excel_day(text: pl.Expr, count: int, marks: Marks) -> pl.Expr:
    epoch, first = _EPOCHS[count]
    number = plain_digits(text, marks).cast(pl.Float64, strict=False).floor()
    whole = pl.when(number.is_between(first, _LAST_DAY)).then(number).cast(pl.Int32)
    day = pl.lit(epoch).str.to_date("%Y-%m-%d") + pl.duration(days=whole)
    known = pl.when(day.dt.year().is_between(FIRST_YEAR, LAST_YEAR)).then(day)
    return known.dt.to_string("%Y-%m-%d")


def _negated(text: pl.Expr, marks: Marks) -> pl.Expr:
    is_number = plain_digits(text, marks).is_not_null()
    unsigned = text.str.strip_prefix("+")
    return (
        pl.when(is_number & text.str.contains("[1-9]"))
        .then(
            pl.when(text.str.starts_with("-"))
            .then(text.str.strip_prefix("-"))
            .otherwise("-" + unsigned)
        )
        .otherwise(text)
    )
