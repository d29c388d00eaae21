"""Steps that the cells of a column call for, each with its reason and the number of rows.

Belongs here: which steps, and why. Does not belong here: what a step does
(`pipelines.records.steps`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipelines.assist.drafts.fit import kind_of
from pipelines.assist.drafts.fitness import listed_words
from pipelines.assist.drafts.known import Known, kind_of_code
from pipelines.assist.drafts.names import best_word
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.serial_forms import best_repair, splits_of
from pipelines.assist.drafts.units import cell_units, is_measured
from pipelines.assist.drafts.vocabulary import NOTHING_FOUND
from pipelines.records.steps import split_parts

_NUMBERS = ("number", "analyte", "integer", "money", "hours")
_DAYS = ("day", "moment")
_NON_DETECTS = ("nd", "bdl", *NOTHING_FOUND)
_MOSTLY = 0.8


@dataclass
class Steps:
    """The steps of one column in their order, what each is for, and how many rows it changes.

    `splits` are the texts between several codes in one cell: a person decides on these, since the
    key must then tell the parts apart; `split_rows` is how many rows hold several.
    """

    steps: list[dict[str, Any]] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    splits: list[str] = field(default_factory=list)
    split_rows: int = 0

    def add(self, step: dict[str, Any], reason: str, rows: int) -> None:
        """One more step."""
        self.steps.append(step)
        self.reasons.append(f"{reason}, {rows} row{'' if rows == 1 else 's'}")


def steps_for(feed: str, column: str, profile: Profile, known: Known) -> Steps:
    """What the values of a header need to be read as the column."""
    steps = Steps()
    kind = kind_of(feed, column)
    _empties(feed, column, kind, profile, steps)
    if kind in _DAYS:
        counted = profile.counted_day_share
        if counted >= 0.5 and profile.day_share < 0.5:
            rows = round(counted * profile.count)
            steps.add({"excel_date": 1900}, "days as spreadsheets count them", rows)
    elif kind in _NUMBERS:
        _of_numbers(feed, column, profile, steps)
    elif (code := kind_of_code(column)) is not None and column != "seller":
        _of_codes(feed, column, profile, known, code, steps)
    return steps


def _empties(feed: str, column: str, kind: str, profile: Profile, steps: Steps) -> None:
    """Texts that say that there is nothing."""
    nothing = profile.nothing
    if kind in _NUMBERS:
        nothing = nothing.filter(~pl.col("text").str.to_lowercase().is_in(_NON_DETECTS))
    if kind in ("word", "flag") and nothing.height:
        listed = listed_words(feed, column)
        spoken = [text for text in nothing["text"] if best_word(text, listed)[1] >= 0.8]
        spoken += [text for text in nothing["text"] if kind == "flag" and text in ("-", "–")]
        nothing = nothing.filter(~pl.col("text").is_in(spoken))
    if kind in _DAYS:
        nothing = pl.concat([nothing, profile.no_days])
    if column in ("notes", "reason", "remark", "unit", "analyte") or nothing.is_empty():
        return
    texts = list(dict.fromkeys(nothing["text"].str.to_lowercase()))[:12]
    steps.add({"empty": texts}, "nothing is told", int(nothing["rows"].sum()))


def _of_numbers(feed: str, column: str, profile: Profile, steps: Steps) -> None:
    signs = profile.money_signs
    if signs.height:
        marks = signs["text"].str.extract_all(r"(?i)US\$|[$€£]|USD|EUR|CHF|GBP|CAD").explode()
        steps.add(
            {"remove": list(marks.unique().sort())}, "a sign of money", int(signs["rows"].sum())
        )
    if profile.trailing_minus:
        steps.add({"trailing_minus": True}, "the minus stands behind", profile.trailing_minus)
    if profile.in_parentheses:
        steps.add({"replace": ["(", "-"]}, "parentheses are a minus", profile.in_parentheses)
        steps.add({"remove": [")"]}, "and end here", profile.in_parentheses)
    negative = int((profile.numbers < 0).sum())
    if feed == "credits" and negative >= _MOSTLY * max(profile.numbers.len(), 1):
        steps.add({"negate": True}, "credits are written below zero", negative)
    if column == "value" or kind_of(feed, column) == "analyte":
        _non_detects(profile, steps)
    if is_measured(feed, column) or column == "value":
        units = cell_units(column, profile) if column != "value" else pl.DataFrame()
        if units.height:
            names = ", ".join(units["unit"].head(4))
            steps.add({"cell_unit": True}, f"cells hold units ({names})", int(units["rows"].sum()))
        return
    behind = profile.texts.with_columns(
        word=pl.col("text").str.extract(r"^[0-9][0-9.,]*\s*(\p{L}[\p{L}./]{0,6})$", 1)
    ).filter(
        pl.col("word").is_not_null() & ~pl.col("word").str.contains(r"(?i)^(eur|usd|chf|gbp|cad)$")
    )
    if behind.height:
        words = list(behind["word"].unique().sort())[:6]
        steps.add({"remove": words}, "a word behind the number", int(behind["rows"].sum()))


def _non_detects(profile: Profile, steps: Steps) -> None:
    """Other words for nothing found."""
    lower = pl.col("text").str.to_lowercase()
    non_detects = profile.all_texts.filter(lower.is_in(NOTHING_FOUND))
    for text, rows in zip(non_detects["text"], non_detects["rows"], strict=True):
        steps.add({"replace": [text, "ND"]}, "nothing was found", int(rows))


def _of_codes(
    feed: str, column: str, profile: Profile, known: Known, code: str, steps: Steps
) -> None:
    codes = known.of(code)
    if feed == "units" and column in ("serial", "site"):
        codes = codes.clear()
    texts = profile.texts
    if code == "serial":
        steps.splits, steps.split_rows = splits_of(texts, codes)
        if steps.splits:
            texts = _parts(texts, steps.splits)
    if code == "region":
        return
    # Of names aliases are proposed, not parts.
    repair = best_repair(texts, codes, code, cuts=code in ("serial", "site"))
    rows = round((repair.share - repair.before) * profile.count)
    for place, step in enumerate(repair.steps):
        steps.steps.append(step)
        if place == 0:
            why = f"{repair.reason}: {repair.share:.0%} are then known, {repair.before:.0%} now"
            steps.reasons.append(f"{why}, {rows} row{'' if rows == 1 else 's'}")


def _parts(texts: pl.DataFrame, marks: list[str]) -> pl.DataFrame:
    parts = texts.with_columns(text=split_parts(pl.col("text"), tuple(marks))).explode("text")
    return parts.filter(pl.col("text").is_not_null())
