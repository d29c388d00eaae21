"""How the values of an export are probably written: date formats, number marks, units, words.

Belongs here: which of several forms reads all values. Does not belong here: which column is which
(`likely_columns`), the text of a draft (`draft`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.records.dates import days, format_pattern, iso_days
from pipelines.records.likely_columns import likeness
from pipelines.records.numerals import Marks, bound_text, floats, without_bound
from pipelines.records.synonyms import WORDS
from pipelines.records.units_of_measure import Conversion, conversion

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
_DATE_LIKE = r"[0-9].*\W.*\W|\W.*\W.*[0-9]|[0-9]{8}"  # three parts with a digit, or run together
_SHOWN_LINES = 5
_SAMPLE = 2_000  # texts that show which formats are worth a try


@dataclass(frozen=True)
class DateForms:
    """The formats that together read the dates of a file.

    Attributes:
        formats: one a way of writing, besides ISO 8601.
        rivals: by format, another one that reads all the same values, some as other days.
        unsure: by format, which other one reads rows as other days, how many, the first lines.
        unread: how many values no format reads, with the first of them.
    """

    formats: list[str]
    rivals: dict[str, str]
    unsure: dict[str, tuple[str, int, list[int]]]
    unread: tuple[int, str]


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
        formats.append(best)
        other = _rival(best, read)
        if other is not None:
            differ = read.filter(pl.col(best) != pl.col(other)).select("text")
            lines = left.join(differ, on="text", how="semi")["line"].unique().sort()
            unsure[best] = (other, len(lines), lines.head(_SHOWN_LINES).to_list())
            if counts[other] == counts[best]:
                rivals[best] = other
        unread = read.filter(pl.col(best).is_null()).select("text")
        left = left.join(unread, on="text", how="semi", maintain_order="left")
    first = left["text"][0] if left.height else ""
    return DateForms(formats, rivals, unsure, (left.height, first))


def _readings(texts: pl.DataFrame) -> pl.DataFrame:
    """`text`, `rows` and one column a format that reads some of the first texts."""

    def read(frame: pl.DataFrame, forms: Iterable[str]) -> pl.DataFrame:
        return frame.with_columns(
            days(pl.col("text"), (format_pattern(form),)).alias(form) for form in forms
        )

    sample = read(texts.head(_SAMPLE), DATE_FORMS)
    return read(texts, [form for form in DATE_FORMS if sample[form].count()])


def _rival(best: str, read: pl.DataFrame) -> str | None:
    """The format that reads most values of the best one as other days."""
    differing = {
        form: (int((read[best] != read[form]).fill_null(False).sum()), read[form].count())
        for form in read.columns[2:]
        if form != best
    }
    most = max(differing, key=lambda form: differing[form], default=None)
    return most if most is not None and differing[most][0] else None


def share_of_days(text: pl.Series) -> float:
    """The share of texts that some known form reads as a day; by the first texts."""
    sample = text.head(_SAMPLE)
    # Trying every form is slow, and most columns hold nothing that looks like a date.
    other = sample.filter(sample.str.contains(_DATE_LIKE))
    other = pl.DataFrame({"text": other}).filter(iso_days(pl.col("text")).is_null())["text"]
    read = [iso_days(pl.col("text")).is_not_null()]
    if len(other):
        read += [days(pl.col("text"), (format_pattern(form),)).is_not_null() for form in DATE_FORMS]
    return _share(sample, pl.any_horizontal(read))


def share_of_numbers(text: pl.Series) -> float:
    """The share of texts that are numbers, or non-detects, under some marks; by the first."""
    read = [_is_number(pl.col("text"), marks) for marks in MARKS]
    return _share(text.head(_SAMPLE), pl.any_horizontal(read))


def _share(text: pl.Series, read: pl.Expr) -> float:
    frame = pl.DataFrame({"text": text})
    return frame.select(read.cast(pl.Float64).mean()).item() or 0.0


def _is_number(text: pl.Expr, marks: Marks) -> pl.Expr:
    bare = pl.coalesce(bound_text(text), text)
    return floats(bare, marks).is_not_null() | without_bound(text)


def number_marks(text: pl.Series) -> dict[Marks, int]:
    """How many of the numbers each way of writing them reads; plain ones first."""
    frame = pl.DataFrame({"text": text})
    return {
        marks: int(frame.select(_is_number(pl.col("text"), marks).sum()).item() or 0)
        for marks in MARKS
    }


def unit_in_name(column: str, header: str) -> str | None:
    """The unit that a header names, where it fits the column and is not the feed's own."""
    bracketed = re.findall(r"[(\[]\s*(.*?)\s*[)\]]", header)
    tail = re.split(r"[\s_,;:]+", header.strip())
    joined = [" ".join(tail[-size:]) for size in (3, 2, 1) if len(tail) > size]
    for text in [*bracketed, *joined]:
        found = conversion(column, text)
        if found is not None:
            return text if found != Conversion() else None
    return None


def unit_by_size(column: str, median: float) -> tuple[str, str] | None:
    """A unit that the size of the values suggests, and why; None where nothing is odd."""
    if column == "hardness_mg_l_caco3" and 0 < median < 15:
        return "gpg", "drinking water rarely has so little hardness in mg/L"
    if column == "temperature_c" and median > 40:
        return "F", "tap water is not so warm in °C"
    if column == "supply_temperature_f" and median < 33:
        return "C", "water would be frozen at that in °F"
    if column.endswith("_pressure_psi") and 0 < median < 10:
        return "bar", "supply pressure is rarely so low in psi"
    if column.endswith("_pressure_psi") and median > 150:
        return "kPa", "supply pressure is rarely so high in psi"
    if column == "iron_mg_l" and median > 20:
        return "ug/L", "water with so much iron in mg/L is undrinkable"
    if column == "conductivity_us_cm" and 0 < median < 5:
        return "mS/cm", "only distilled water conducts so little in uS/cm"
    return None


def word_for(text: str, words: Sequence[str]) -> tuple[str, float]:
    """The listed word (or yes or no) that an export's word is most like, and how much."""
    scored = [(likeness(text, [word, *WORDS.get(word, [])])[0], word) for word in words]
    if text.strip() in ("-", "–"):
        return ("no", 75.0) if "no" in words else (words[0], 0.0)
    score, word = max(scored)
    return word, score
