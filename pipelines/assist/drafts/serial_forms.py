"""Steps that make codes find what they name: zeros that were lost, words put in front, and more.

Belongs here: trying a few changes on the values of one column. Does not belong here: the steps
themselves (`pipelines.records.steps`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.assist.drafts.known import share_known
from pipelines.records.entries import step_of
from pipelines.records.numerals import Marks
from pipelines.records.steps import changed, split_parts
from schemas.polars_types import mean_of

_SPLITS = (";", ",", " / ", "/", " & ", " + ", " und ", " and ", " et ", "|", "\n")
_MARKS = (" ", "-", "/", ".", "_")  # between the parts of codes; serials are read without them
_LONGEST = 40  # characters; what is longer on average is no code
_TRIED = 400  # different texts
_WORTH = 0.03  # share of rows that a step must win


@dataclass(frozen=True)
class Repair:
    """Steps, the share of rows that is known under them, and without them, and the reason."""

    steps: tuple[dict[str, Any], ...]
    share: float
    before: float
    reason: str = ""


def best_repair(
    texts: pl.DataFrame, known: pl.Series, kind: str = "serial", *, cuts: bool = True
) -> Repair:
    """The steps under which most values are known; none where nothing is won by any.

    Args:
        texts: `text` and `rows`.
        known: the codes that should be found.
        kind: `serial` compares as serials are read.
        cuts: whether parts of texts may be left out too.
    """
    if texts.is_empty() or known.is_empty():
        return Repair((), 0.0, 0.0)
    texts = texts.head(_TRIED)
    before = share_known(texts, known, kind)
    best = Repair((), before, before)
    spoken = mean_of(texts["text"].str.len_chars())
    if before > 1 - _WORTH or spoken > _LONGEST:
        return best
    for steps, reason in _candidates(texts, known, cuts):
        plain = tuple(map(step_of, steps))
        read = texts.with_columns(text=changed(pl.col("text"), plain, Marks())).filter(
            pl.col("text").is_not_null()
        )
        share = share_known(read, known, kind) if read.height else 0.0
        if share > best.share + _WORTH:
            best = Repair(tuple(steps), share, before, reason)
    return best


def _candidates(
    texts: pl.DataFrame, known: pl.Series, cuts: bool
) -> list[tuple[list[dict[str, Any]], str]]:
    candidates: list[tuple[list[dict[str, Any]], str]] = []
    digits = known.filter(known.str.contains(r"^[0-9]+$"))
    lengths = digits.filter(digits.str.starts_with("0")).str.len_chars().unique()
    pads = [int(n) for n in lengths.sort()][:3]
    candidates += [([{"pad": n}], "leading zeros were lost") for n in pads]
    candidates.append(([{"strip_zeros": True}], "leading zeros were added"))
    if not cuts:
        return candidates
    prefix = texts["text"].str.extract(r"^(\p{L}{1,6}[\s#:.\-_]*)", 1).drop_nulls()
    if prefix.len():
        words = prefix.value_counts(sort=True)[prefix.name].head(2).to_list()
        for word in words:
            candidates.append(([{"remove": [word.strip()]}], f'"{word.strip()}" stands in front'))
            candidates += [
                (
                    [{"remove": [word.strip()]}, {"pad": n}],
                    f'"{word.strip()}" stands in front, and leading zeros were lost',
                )
                for n in pads
            ]
    candidates += _other_marks(texts["text"], known)
    candidates += [
        ([{"before": text}], f'what stands behind "{text}" is no part of the code')
        for text in (" ", " - ", "/", "(", "|")
    ]
    candidates += [
        ([{"after": text}], f'what stands before "{text}" is no part of the code')
        for text in (" ", " - ", "/", "-", ":")
    ]
    return candidates


def _other_marks(texts: pl.Series, known: pl.Series) -> list[tuple[list[dict[str, Any]], str]]:
    """Other marks between the parts of codes than those that are known have."""
    written = [mark for mark in _MARKS if texts.str.contains(mark, literal=True).any()]
    meant = [mark for mark in _MARKS if known.str.contains(mark, literal=True).any()]
    return [
        ([{"replace": [one, other]}], f'"{one}" stands for "{other}"')
        for one in written
        for other in meant
        if one != other
    ]


def splits_of(texts: pl.DataFrame, known: pl.Series) -> tuple[list[str], int]:
    """The texts between several codes in one cell, and how many rows hold several.

    Without known codes both sides of a mark must look like codes.
    """
    marks: list[str] = []
    rows = 0
    for mark in _SPLITS:
        several = texts.filter(pl.col("text").str.contains(mark, literal=True))
        if several.is_empty() or any(mark.strip() and mark.strip() == m.strip() for m in marks):
            continue
        parts = several.select("rows", text=split_parts(pl.col("text"), (mark,))).explode("text")
        parts = parts.filter(pl.col("text").is_not_null())
        if known.len():
            good = best_repair(parts, known).share
        else:
            form = r"^[A-Za-z0-9][A-Za-z0-9\-.]{3,17}$"
            codes = parts.filter(
                pl.col("text").str.contains(form) & pl.col("text").str.contains("[0-9]{3}")
            )
            good = float(codes["rows"].sum()) / max(float(parts["rows"].sum()), 1.0)
        if good >= 0.6 and parts.height >= 2 * several.height:
            marks.append(mark)
            rows += int(several["rows"].sum())
    return marks, rows
