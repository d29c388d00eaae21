"""Steps that make codes find what they name: zeros that were lost, words put in front, and more.

Belongs here: trying a few changes on the values of one column. Does not belong here: the steps
themselves (`pipelines.records.steps`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.assist.drafts.known import is_known, share_known
from pipelines.records.entries import step_of
from pipelines.records.numerals import Marks
from pipelines.records.steps import changed, split_parts
from schemas.polars_types import mean_of

_SPLITS = (";", ",", " / ", "/", " & ", " + ", " und ", " and ", " et ", "|", "\n")
_MARKS = (" ", "-", "/", ".", "_")  # between the parts of codes; serials are read without them
_LONGEST = 40  # characters; what is longer on average is no code
_TRIED = 400  # different texts
_WORTH = 0.03  # share of rows that a step must win
_SEARCHED = 5_000  # codes that are looked for in texts before steps are tried


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
    if not _may_be_known(texts, known):
        return best
    candidates = _candidates(texts, known, cuts)
    shares = _shares(texts, [steps for steps, _ in candidates], known, kind)
    for (steps, reason), share in zip(candidates, shares, strict=True):
        if share > best.share + _WORTH:
            best = Repair(tuple(steps), share, before, reason)
    return best


def _may_be_known(texts: pl.DataFrame, known: pl.Series) -> bool:
    """Whether enough texts hold a code at all, wherever in them, without zeros in front."""
    if known.len() > _SEARCHED:
        return True
    codes = pl.select(_bare(pl.lit(known)).str.strip_chars_start("0")).to_series()
    codes = codes.filter(codes != "").unique()
    holds = texts.filter(_bare(pl.col("text")).str.contains_any(codes.to_list()))
    return int(holds["rows"].sum()) >= _WORTH * int(texts["rows"].sum())


def _bare(text: pl.Expr) -> pl.Expr:
    return text.str.to_lowercase().str.replace_all(r"[^\p{L}\p{Nd}]", "")


def _shares(
    texts: pl.DataFrame, candidates: list[list[dict[str, Any]]], known: pl.Series, kind: str
) -> list[float]:
    """The share of rows that is known under each of several lists of steps, all asked at once."""
    rows, counts = pl.col("rows"), []
    for number, steps in enumerate(candidates):
        read = changed(pl.col("text"), tuple(map(step_of, steps)), Marks())
        counts.append(rows.filter(is_known(read, known, kind)).sum().alias(f"known {number}"))
        counts.append(rows.filter(read.is_not_null()).sum().alias(f"all {number}"))
    counted = texts.select(counts).row(0, named=True)
    return [
        counted[f"known {number}"] / max(counted[f"all {number}"], 1)
        for number in range(len(candidates))
    ]


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
