"""What the values below one header look like.

Belongs here: counts and shares of one column of a file. Does not belong here: which column of a
feed they suit (`fitness`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any, TypeVar

import polars as pl

from pipelines.assist.drafts.forms import MARKS, are_days, are_numbers
from pipelines.assist.drafts.vocabulary import NOTHING
from pipelines.records.numerals import Marks, bound_text, floats
from pipelines.records.steps import number_part
from schemas.polars_types import mean_of

T = TypeVar("T")
SAMPLE = 3_000  # different texts that are looked at; the most frequent ones
_DAYS_TRIED = 400
_MONEY_SIGN = r"(?i)^\s*(?:[$€£]|USD|EUR|CHF|GBP|CAD|US\$)\s*|\s*(?:[$€£]|USD|EUR|CHF|GBP|CAD)\s*$"
_TRAILING_MINUS = r"^[0-9][0-9.,' ]*-$"
_IN_PARENTHESES = r"^\(([^()]*[0-9][^()]*)\)$"
_NO_DAY = (
    r"^[0 ]+[./\-][0 ]+[./\-][0 ]+$|^0{6,8}$|^(?:31[./\-]12|12[./\-]31)[./\-]9999$|^9999-12-31$"
)


class Profile:
    """One column of a file: its place, header, and texts with their number of rows."""

    def __init__(self, place: int, header: str, text: pl.Series, rows: int) -> None:
        self.place, self.header, self.rows = place, header, rows
        full = text.filter(text != "")
        counts = full.alias("text").value_counts(sort=True, name="rows")
        counts = counts.with_columns(pl.col("rows").cast(pl.Int64)).sort(
            ["rows", "text"], descending=[True, False]
        )
        self.count = full.len()
        self.distinct = counts.height
        self.all_texts = counts
        nothing = counts["text"].str.to_lowercase().is_in(NOTHING)
        self.nothing = counts.filter(nothing)
        self.texts = counts.filter(~nothing).head(SAMPLE)
        self.memo: dict[tuple[str, ...], Any] = {}  # what several columns ask alike

    def once(self, key: tuple[str, ...], work: Callable[[], T]) -> T:
        """What `work` gives, worked out once for this column."""
        if key not in self.memo:
            self.memo[key] = work()
        made: T = self.memo[key]
        return made

    @property
    def filled(self) -> float:
        """The share of rows with a value."""
        return self.count / self.rows if self.rows else 0.0

    @cached_property
    def is_constant(self) -> bool:
        """Whether more than two rows say the same."""
        return self.texts.height == 1 and self.count > 2

    @cached_property
    def repeats(self) -> float:
        """The share of values that stand there again."""
        return 1 - self.distinct / self.count if self.count else 0.0

    def share(self, holds: pl.Expr) -> float:
        """The share of rows (with a value) whose `text` holds an expression."""
        total = self.texts["rows"].sum()
        if not total:
            return 0.0
        return float(self.texts.filter(holds.fill_null(False))["rows"].sum()) / float(total)

    @cached_property
    def numbers_text(self) -> pl.DataFrame:
        """The texts without signs of money, a unit behind the number, a minus behind it, and the
        parentheses that books have for a minus."""
        below_zero = pl.col("text").str.contains(_IN_PARENTHESES)
        bare = _inside().str.replace_all(_MONEY_SIGN, "").str.replace(r"^(.*[0-9])-$", "-$1")
        number = number_part(bare.str.strip_chars())
        return self.texts.with_columns(
            text=pl.when(below_zero).then("-" + number).otherwise(number)
        )

    @cached_property
    def number_share(self) -> float:
        """The share of rows with a number under the marks that read most of them."""
        return max(self._shares_of_marks.values(), default=0.0)

    @cached_property
    def plain_number_share(self) -> float:
        """The share of rows that are a number and nothing else."""
        return self.share(pl.any_horizontal(are_numbers(pl.col("text"), marks) for marks in MARKS))

    @cached_property
    def _shares_of_marks(self) -> dict[Marks, float]:
        frame, total = self.numbers_text, self.texts["rows"].sum()
        if not total:
            return {}
        return {
            marks: float(frame.filter(are_numbers(pl.col("text"), marks))["rows"].sum())
            / float(total)
            for marks in MARKS
        }

    @cached_property
    def numbers(self) -> pl.Series:
        """The numbers, under the marks that read most; bounds of non-detects as their bound."""
        shares = self._shares_of_marks
        marks = max(shares, key=lambda m: shares[m]) if shares else Marks()
        text = pl.coalesce(bound_text(pl.col("text")), pl.col("text"))
        return self.numbers_text.select(floats(text, marks).alias("n"))["n"].drop_nulls()

    @cached_property
    def days(self) -> pl.DataFrame:
        """`text`, `rows` and the `day` that some form reads, null where none does."""
        some = self.texts.head(_DAYS_TRIED)
        return some.with_columns(day=are_days(some["text"]))

    @cached_property
    def day_share(self) -> float:
        """The share of rows with a day, those without any day (`00.00.0000`) left out."""
        real = self.days.filter(~pl.col("text").str.contains(_NO_DAY))
        total = real["rows"].sum()
        if not total:
            return 0.0
        read = real.filter(pl.col("day").dt.year().is_between(1980, 2100))
        return float(read["rows"].sum()) / float(total)

    @cached_property
    def no_days(self) -> pl.DataFrame:
        """The texts that stand for no day, with their rows."""
        return self.texts.filter(pl.col("text").str.contains(_NO_DAY))

    @cached_property
    def counted_day_share(self) -> float:
        """The share of rows with a number that a spreadsheet counts as a day of 1995 to 2080."""
        number = pl.col("text").str.replace(r"[.,][0-9]+$", "")
        whole = (
            pl.when(number.str.contains(r"^[0-9]{5}$")).then(number).cast(pl.Int64, strict=False)
        )
        return self.share(whole.is_between(34_700, 65_900))

    @cached_property
    def code_share(self) -> float:
        """The share of rows with a code: one short word with a digit, no amount and no day."""
        text = pl.col("text")
        is_code = (
            text.str.contains(r"^#?[\p{L}\p{Nd}][\p{L}\p{Nd} ./_\-]{0,23}$")
            & text.str.contains(r"[0-9]")
            & ~text.str.contains(r"^[0-9]{1,3}(?:[.,' ]?[0-9]{3})*[.,][0-9]{1,2}$")
            & ~text.str.contains(r"\s\S+\s\S+\s")
        )
        return min(self.share(is_code), 1 - self.day_share)

    @cached_property
    def decimal_share(self) -> float:
        """The share of rows that are numbers with a fraction."""
        form = r"^-?[0-9][0-9.,' ]*[.,][0-9]{1,2}$"
        total = self.texts["rows"].sum()
        fractions = self.numbers_text.filter(pl.col("text").str.contains(form))["rows"].sum()
        return float(fractions) / float(total) if total else 0.0

    @cached_property
    def whole_share(self) -> float:
        """The share of rows that are whole numbers."""
        return self.share(pl.col("text").str.contains(r"^[+-]?[0-9]+(?:[.,]0+)?$"))

    @cached_property
    def length(self) -> float:
        """The mean number of characters."""
        return mean_of(self.texts["text"].str.len_chars())

    @cached_property
    def letter_share(self) -> float:
        """The share of rows with three letters on end."""
        return self.share(pl.col("text").str.contains(r"\p{L}{3}"))

    @cached_property
    def trailing_minus(self) -> int:
        """How many rows have their minus behind the number."""
        return int(self.texts.filter(pl.col("text").str.contains(_TRAILING_MINUS))["rows"].sum())

    @cached_property
    def in_parentheses(self) -> int:
        """How many rows have a number in parentheses, which books write for one below zero."""
        numbers = self.numbers_text["text"].str.contains(r"^-[0-9]")
        texts = self.texts.filter(numbers & self.texts["text"].str.contains(_IN_PARENTHESES))
        return int(texts["rows"].sum())

    @cached_property
    def money_signs(self) -> pl.DataFrame:
        """Texts with a sign of money, and their rows."""
        return self.texts.filter(_inside().str.contains(_MONEY_SIGN))


def _inside() -> pl.Expr:
    """The text, or what its parentheses hold."""
    return pl.col("text").str.replace(_IN_PARENTHESES, "$1").str.strip_chars()
