"""A commented mapping for an export, drafted from its header and values; applied by nobody.

Belongs here: pairing the headers of one file, and the order of a draft. Does not belong here: the
guesses themselves (`likely_columns`, `likely_forms`), the lines of each part (`draft_lines`).

What is nearly sure stands as a line of the mapping; what a person must decide is commented out,
with what speaks for it.
"""

from __future__ import annotations

from functools import lru_cache

import polars as pl

from pipelines.errors import UsageError
from pipelines.exports.header_rows import bare
from pipelines.exports.reading import Reading
from pipelines.records import draft_lines as lines
from pipelines.records import draft_values as value_lines
from pipelines.records.likely_columns import SURE, Guess, pair_columns
from pipelines.records.likely_forms import share_of_days, share_of_numbers, word_for
from pipelines.records.mapping_checks import LONG_PARTS
from pipelines.records.synonyms import COLUMNS
from schemas.codes import ANALYTES
from schemas.columns import fields
from schemas.feeds import FEED_TABLES

_NUMBERS = ("number", "analyte", "integer", "money", "hours")
_MANY_WORDS = 30


class Export:
    """The texts of one file, by the place of their header."""

    def __init__(self, feed: str, reading: Reading) -> None:
        self.feed = feed
        self.header = reading.header
        self.rows = reading.rows
        self.share_of_days = lru_cache(maxsize=None)(self._share_of_days)
        self.share_of_numbers = lru_cache(maxsize=None)(self._share_of_numbers)

    def values(self, place: int) -> pl.DataFrame:
        """`line` and `text` of a column's values that are not empty."""
        frame = self.rows.select("line", text=f"c{place}")
        return frame.filter(pl.col("text") != "")

    def _share_of_days(self, place: int) -> float:
        return share_of_days(self.values(place)["text"].unique(maintain_order=True))

    def _share_of_numbers(self, place: int) -> float:
        return share_of_numbers(self.values(place)["text"].unique(maintain_order=True))

    def fitness(self, place: int, column: str) -> float:
        """How well the values below a header suit a column, from 0 to 1."""
        values = self.values(place)["text"]
        if values.is_empty():
            return 0.9
        kind = kind_of(self.feed, column)
        if kind in ("day", "moment"):
            return _grade(self.share_of_days(place))
        if kind in _NUMBERS:
            return _grade(self.share_of_numbers(place))
        if kind == "name":
            return _grade(1 - self.share_of_numbers(place))
        if kind in ("flag", "word"):
            return self._fitness_of_words(values, column, kind)
        return 0.5 if self.share_of_days(place) > 0.9 else 1.0

    def _fitness_of_words(self, values: pl.Series, column: str, kind: str) -> float:
        distinct = values.str.to_lowercase().unique(maintain_order=True)
        if len(distinct) > _MANY_WORDS:
            return 0.0
        meta = fields(FEED_TABLES[self.feed])[column].metadata or {}
        words = meta["words"] or ["yes", "no"]
        known = [
            text in ("y", "n", "true", "false", "1", "0")
            if kind == "flag" and len(text) < 2
            else word_for(text, words)[1] >= SURE
            for text in distinct
        ]
        return 1.0 if any(known) else 0.8


def kind_of(feed: str, column: str) -> str:
    """What a column holds; `name` for the analyte of the long layout, text for unit and remark."""
    if column in LONG_PARTS:
        return {"analyte": "name", "value": "number"}.get(column, "text")
    return str((fields(FEED_TABLES[feed])[column].metadata or {})["kind"])


def draft_mapping(feed: str, reading: Reading) -> str:
    """The text of a mapping that probably fits the file, with the reason for each guess.

    Args:
        feed: the feed that the file is of.
        reading: the file as text.

    Raises:
        UsageError: the file cannot be read, so there is nothing to draft from.
    """
    if reading.fault is not None:
        raise UsageError(f"No mapping can be drafted from this file. {reading.fault.sentence}")
    export = Export(feed, reading)
    guesses = _guesses(export, long=False)
    long = _looks_long(export, guesses)
    if long:
        guesses = _guesses(export, long=True)
    sure = {guess.column: guess.place for guess in guesses if guess.score >= SURE}
    parts = [
        lines.opening(feed, export.rows.height),
        lines.marks(export, sure),
        lines.dates(export, sure),
        lines.layout(long),
        lines.columns(export, guesses, long),
        lines.units(export, sure),
        value_lines.constants(feed, sure, long),
        value_lines.analytes(export, sure) if long else [],
        value_lines.translations(export, sure),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _guesses(export: Export, *, long: bool) -> list[Guess]:
    """The pairs of columns and headers; a header that is a column's own name goes first."""
    spoken = {
        column: names
        for column, names in COLUMNS[export.feed].items()
        if column not in (ANALYTES if long else LONG_PARTS)
    }
    plain = [bare(name) for name in export.header]
    own = {column: plain.index(bare(column)) for column in spoken if bare(column) in plain}
    named = [
        Guess(column, place, export.header[place], 100.0, column) for column, place in own.items()
    ]
    taken = set(own.values())
    left = {column: names for column, names in spoken.items() if column not in own}

    def fitness(place: int, column: str) -> float:
        return 0.0 if place in taken else export.fitness(place, column)

    guesses = named + pair_columns(export.header, left, fitness)
    return _with_word_columns(export, list(spoken), guesses)


def _with_word_columns(export: Export, columns: list[str], guesses: list[Guess]) -> list[Guess]:
    """Adds columns whose own words stand below exactly one header that is surely no other one."""
    sure = [guess for guess in guesses if guess.score >= SURE]
    found = []
    for column in columns:
        if kind_of(export.feed, column) != "word" or any(g.column == column for g in sure):
            continue
        words = (fields(FEED_TABLES[export.feed])[column].metadata or {})["words"]
        places = [
            place
            for place in range(len(export.header))
            if not any(g.place == place for g in sure)
            and (texts := export.values(place)["text"].str.to_lowercase()).len()
            and texts.is_in(words).all()
        ]
        if len(places) == 1:
            place = places[0]
            found.append(Guess(column, place, export.header[place], 100.0, column, by_words=True))
    columns_found, places_found = {g.column for g in found}, {g.place for g in found}
    left = [g for g in guesses if g.column not in columns_found and g.place not in places_found]
    return left + found


def _looks_long(export: Export, wide: list[Guess]) -> bool:
    """Whether each row is one result: names of analytes in one column, numbers in another."""
    if export.feed != "water_tests":
        return False
    results = [guess for guess in wide if guess.column in ANALYTES and guess.score >= SURE]
    if len(results) > 2:
        return False
    parts = {g.column: g for g in _guesses(export, long=True) if g.score >= SURE}
    if "analyte" not in parts or "value" not in parts:
        return False
    names = export.values(parts["analyte"].place)["text"].unique(maintain_order=True)
    return bool(value_lines.likely_analytes(names.to_list()))


def _grade(share: float) -> float:
    """A few odd values do not speak against a column; where most are odd, it is another one."""
    return 1.0 if share >= 0.8 else 0.9 if share >= 0.5 else 0.0
