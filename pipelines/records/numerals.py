"""Numbers as exports write them, read as whole columns.

Belongs here: signs, decimal marks, thousands, exact decimals, non-detects. Does not belong here:
units (`units_of_measure`), what a number must be to be right (`schemas`).

A separator that could be a decimal mark is no number: `1,234` alone is set aside unless the
mapping says how thousands are written. Only the digits 0-9 count.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from schemas.columns import HOURS, MONEY

_SPACES = "[ \u00a0\u2009\u202f]"
_WITHOUT_BOUND = r"(?i)^(nd|bdl)$"
_BOUND = r"^<\s*(.*)$"
_WHOLE_LIMIT = 10**15


@dataclass(frozen=True)
class Marks:
    """How an export writes numbers: the decimal mark, and the thousands mark if it is told."""

    decimal: str = "."
    thousands: str | None = None

    @property
    def pattern(self) -> str:
        """The regular expression of a whole number text."""
        point, other = re.escape(self.decimal), re.escape("," if self.decimal == "." else ".")
        tail = rf"(?:{point}[0-9]*)?"
        forms = [
            rf"[0-9]+{tail}",
            rf"{point}[0-9]+",
            rf"[1-9][0-9]{{0,2}}(?:{_SPACES}[0-9]{{3}})+{tail}",
        ]
        # Two groups, or a decimal mark behind one, show that the other mark is for thousands.
        forms.append(rf"[1-9][0-9]{{0,2}}(?:{other}[0-9]{{3}}){{2,}}{tail}")
        forms.append(rf"[1-9][0-9]{{0,2}}{other}[0-9]{{3}}{point}[0-9]*")
        if self.thousands:
            # Spreadsheets of Switzerland write the typographic apostrophe.
            mark = "['\u2019]" if self.thousands == "'" else re.escape(self.thousands)
            forms.append(rf"[1-9][0-9]{{0,2}}(?:{mark}[0-9]{{3}})+{tail}")
        return rf"^[+-]?(?:{'|'.join(forms)})$"

    @property
    def single_group(self) -> str:
        """The pattern of a text that may be thousands or a decimal fraction."""
        other = re.escape("," if self.decimal == "." else ".")
        return rf"^[+-]?[1-9][0-9]{{0,2}}{other}[0-9]{{3}}$"


def plain_digits(text: pl.Expr, marks: Marks) -> pl.Expr:
    """The text with a decimal point and no thousands marks; null where it is no number."""
    number = pl.when(text.str.contains(marks.pattern)).then(text)
    bare = number.str.replace_all(rf"[^0-9+\-{re.escape(marks.decimal)}]", "")
    return bare if marks.decimal == "." else bare.str.replace(marks.decimal, ".", literal=True)


def floats(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Nearest doubles; null where the text is no number or too large for one."""
    number = plain_digits(text, marks).cast(pl.Float64, strict=False)
    # `-0` is 0: two rows that differ in its sign alone are the same row.
    return pl.when(number == 0).then(0.0).when(number.is_finite()).then(number)


def wholes(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Whole numbers, also written `2.0`; null for anything else."""
    number = floats(text, marks)
    return pl.when((number == number.floor()) & (number.abs() < _WHOLE_LIMIT)).then(
        number.cast(pl.Int64, strict=False)
    )


def money(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Exact amounts with six decimals.

    Further decimals are cut, not rounded: rounding twice could move a cent, cutting cannot.
    """
    cut = plain_digits(text, marks).str.replace(r"(\.[0-9]{6})[0-9]+$", "$1")
    return cut.cast(MONEY, strict=False)


def hours(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Exact hours, rounded to ten decimals, so that thirds of an hour stay what they mean."""
    return plain_digits(text, marks).cast(HOURS, strict=False)


def without_bound(text: pl.Expr) -> pl.Expr:
    """Whether the text says that nothing was detected, without a bound (`ND`, `BDL`)."""
    return text.str.contains(_WITHOUT_BOUND)


def bound_text(text: pl.Expr) -> pl.Expr:
    """What stands behind the `<` of a non-detect; null where there is none."""
    return text.str.extract(_BOUND, 1)
