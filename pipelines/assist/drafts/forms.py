"""How the values of an export are probably written: date formats and number marks.

Belongs here: which of several forms reads all values. Does not belong here: units (`units`), which
column is which (`pairing`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from pipelines.records.dates import days, format_pattern, has_two_readings, iso_days
from pipelines.records.numerals import Marks, bound_text, floats, without_bound

_DAY_FORMS = (
    *("%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y%m%d"),
    *(
        "%d-%b-%Y",
        "%d %b %Y",
        "%b %d, %Y",
        "%d %B %Y",
        "%B %d, %Y",
        "%b %d %Y",
        "%B %d %Y",
        "%b-%d-%Y",
        "%d/%b/%Y",
        "%d.%b.%Y",
        "%d-%b-%y",
        "%d %b %y",
    ),
    *("%m/%d/%y", "%d/%m/%y", "%d.%m.%y", "%d-%m-%y", "%Y.%m.%d", "%m.%d.%Y"),
)
_CLOCKS = (" %H:%M", " %H:%M:%S", " %I:%M %p", " %I:%M:%S %p", ", %H:%M")
DATE_FORMS = (*_DAY_FORMS, *(day + clock for day in _DAY_FORMS for clock in _CLOCKS))
MARKS = (
    Marks(),
    Marks(","),
    Marks(".", ","),
    Marks(",", "."),
    Marks(".", "'"),
    Marks(",", "'"),
)
_DATE_LIKE = r"[0-9].*\W.*\W|\W.*\W.*[0-9]|^(19|20)[0-9]{6}$"
_CLOCK = r"(?i),?\s+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?(?:\s*[ap]\.?m\.?)?$"
_SAMPLE = 2_000  # texts that show which formats are worth a try


@dataclass(frozen=True)
class DateForms:
    """The formats that together read the dates of a file.

    Attributes:
        formats: one a way of writing, besides ISO 8601.
        rivals: by format, another one that reads all the same values, some as other days.
        unsure: by format, which other one reads rows as other days, how many, the first lines.
        unread: how many values no format reads, with the first of them.
        clashes: how many rows the sound formats together leave ambiguous, and the first lines.
    """

    formats: list[str]
    rivals: dict[str, str]
    unsure: dict[str, tuple[str, int, list[int]]]
    unread: tuple[int, str]
    clashes: tuple[int, list[int]] = (0, [])

    @property
    def sound(self) -> list[str]:
        """The formats that have no rival."""
        return [form for form in self.formats if form not in self.rivals]


def date_forms(values: pl.DataFrame) -> DateForms:
    """Chooses date formats: each round the one that reads most of what is still unread.

    Args:
        values: `line` and `text` of all dates in the file, none empty.
    """
    left = values.filter(iso_days(pl.col("text")).is_null())
    formats: list[str] = []
    rivals: dict[str, str] = {}
    unsure: dict[str, tuple[str, int, list[int]]] = {}
    while not left.is_empty():
        texts = left.group_by("text", maintain_order=True).len("rows")
        read = _readings(texts)
        if read.width == 2:
            break
        counts = read.select(
            pl.when(pl.col(form).is_not_null()).then("rows").otherwise(0).sum().alias(form)
            for form in read.columns[2:]
        ).row(0, named=True)
        best = max(counts, key=lambda form: counts[form])
        if not counts[best]:
            break
        formats.append(best)
        rival = _rival(best, read)
        if rival is not None:
            if counts[rival] == counts[best]:
                rivals[best] = rival
            apart = read.filter(pl.col(best) != pl.col(rival))["text"]
            rows = left.filter(pl.col("text").is_in(apart.implode()))["line"].unique().sort()
            unsure[best] = (rival, rows.len(), rows.head(5).to_list())
        done = read.filter(pl.col(best).is_not_null())["text"]
        left = left.filter(~pl.col("text").is_in(done.implode()))
    unread = (left.height, "" if left.is_empty() else left["text"][0])
    sound = [form for form in formats if form not in rivals]
    return DateForms(formats, rivals, unsure, unread, _clashes(values, sound))


def _clashes(values: pl.DataFrame, formats: list[str]) -> tuple[int, list[int]]:
    if len(formats) < 2:
        return 0, []
    patterns = tuple(format_pattern(form) for form in formats)
    clash = values.filter(has_two_readings(pl.col("text"), patterns))["line"].unique().sort()
    return len(clash), clash.head(5).to_list()


def _readings(texts: pl.DataFrame) -> pl.DataFrame:
    """The texts as each form reads them, forms that read none left out."""

    def read(frame: pl.DataFrame, forms: Iterable[str]) -> pl.DataFrame:
        return frame.with_columns(
            days(pl.col("text"), (format_pattern(form),)).alias(form) for form in forms
        )

    some = texts["text"].head(_SAMPLE)
    return read(
        texts, [form for form in DATE_FORMS if some.str.contains(format_pattern(form)).any()]
    )


def _rival(best: str, read: pl.DataFrame) -> str | None:
    """The format that reads most values of the best one as other days."""
    differing = {
        form: (int((read[best] != read[form]).fill_null(False).sum()), read[form].count())
        for form in read.columns[2:]
        if form != best
    }
    most = max(differing, key=lambda form: differing[form], default=None)
    return most if most is not None and differing[most][0] else None


def are_days(text: pl.Series) -> pl.Series:
    """The day as which some known form reads each text; null where none does."""
    frame = pl.DataFrame({"text": text})
    # Trying every form is slow, and most columns hold nothing that looks like a date.
    like = frame.filter(pl.col("text").str.contains(_DATE_LIKE)).unique()
    read = like.with_columns(day=iso_days(pl.col("text")))
    other = read.filter(pl.col("day").is_null()).select("text")
    if other.height:
        day = other.select("text", bare=pl.col("text").str.replace(_CLOCK, ""))
        forms = [pl.lit(None, pl.Date)]
        for form in _DAY_FORMS:
            pattern = format_pattern(form)
            if day["bare"].str.contains(pattern).any():
                forms.append(days(pl.col("bare"), (pattern,)))
        known = day.select("text", day=pl.coalesce(forms))
        read = pl.concat([read.filter(pl.col("day").is_not_null()), known])
    return frame.join(read, on="text", how="left", maintain_order="left")["day"]


def are_numbers(text: pl.Expr, marks: Marks) -> pl.Expr:
    """Which texts are numbers, or non-detects, under the marks."""
    value = pl.coalesce(bound_text(text), text)
    return floats(value, marks).is_not_null() | without_bound(text)


def number_marks(text: pl.Series) -> dict[Marks, int]:
    """How many of the numbers each way of writing them reads; plain ones first."""
    frame = pl.DataFrame({"text": text})
    return {
        marks: int(frame.select(are_numbers(pl.col("text"), marks).sum()).item() or 0)
        for marks in MARKS
    }
