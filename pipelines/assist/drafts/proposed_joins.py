"""Which other exports belong to the rows of a file: their keys are those that stand here.

Belongs here: the blocks of `[[join]]`, which wait for a person, and why. Does not belong here:
reading files (`pipelines.queries.drafting`), joining them (`pipelines.records`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.assist.drafts.profiles import Profile

LEAST_KEYS = 5  # fewer agree by chance
LEAST_SHARE = 0.9  # of the other file's keys that must stand here
_ONCE = 0.98  # of the rows here, a key stands in one alone
_LINES = 0.1  # keys of the other file that stand there again; more: it has lines for one
_MOST_FIRST, _TRIED = 3, 200
_MOSTLY_AMOUNTS = 0.5
# One word that is neither a day nor an amount.
_KEY = r"^[\p{L}\p{Nd}][\p{L}\p{Nd} ./_\-]{2,23}$"
_DAY = r"^[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}"
_AMOUNT = r"^-?[0-9.,' ]*[.,][0-9]{1,2}-?$"


@dataclass(frozen=True)
class Beside:
    """Another export that no mapping names: its pattern below exports/, its name, its columns."""

    files: str
    shown: str
    columns: Sequence[Profile]


@dataclass(frozen=True)
class JoinProposal:
    """A block of `[[join]]`, and the reason for it."""

    block: dict[str, Any]
    reason: str


@dataclass(frozen=True)
class _Tie:
    """A header so far and one of another file, how many of whose keys stand here."""

    here: str
    other: Beside
    there: Profile
    keys: int
    keys_here: int
    zeros: bool

    @property
    def share(self) -> float:
        return self.keys_here / self.keys


def proposed_joins(columns: Mapping[str, Profile], beside: Sequence[Beside]) -> list[JoinProposal]:
    """The other files that are joined, each by a header of the file or of one joined before it.

    Args:
        columns: by header those that may tell one row of the file from another.
        beside: the other exports.
    """
    ties = _ties(_telling(columns), beside)
    proposals: list[JoinProposal] = []
    taken: set[str] = set()
    left = [*beside]
    while ties:
        best = max(ties, key=lambda tie: (round(tie.share, 3), tie.keys_here, tie.other.files))
        left.remove(best.other)
        ties = [tie for tie in ties if tie.other is not best.other]
        name = _name(best.other, taken)
        taken.add(name)
        proposals.append(_proposal(best, name))
        if best.there.repeats <= _LINES:
            of_join = {f"{name}.{one.header}": one for one in best.other.columns if one.header}
            ties += _ties(_telling(of_join), left)
    return proposals


def _telling(columns: Mapping[str, Profile]) -> dict[str, Profile]:
    """The columns of which each value stands in one row."""
    return {name: one for name, one in columns.items() if one.repeats <= 1 - _ONCE}


def _ties(here: Mapping[str, Profile], beside: Sequence[Beside]) -> list[_Tie]:
    return [
        tie
        for other in beside
        for there in other.columns
        if there.header and _keys(there)[0].len() >= LEAST_KEYS
        for name, own in here.items()
        if (tie := _tie(name, own, other, there)) is not None
    ]


def _tie(here: str, own: Profile, other: Beside, there: Profile) -> _Tie | None:
    """The two columns as one key, as they are or without zeros in front; None where they differ."""
    for zeros, left, right in zip((False, True), _keys(own), _keys(there), strict=True):
        some = right.head(_TRIED)
        if int(some.is_in(left.implode()).sum()) < LEAST_SHARE / 2 * some.len():
            continue  # most of a large file need not be looked at
        keys_here = int(right.is_in(left.implode()).sum())
        if keys_here >= LEAST_KEYS and keys_here >= LEAST_SHARE * right.len():
            return _Tie(here, other, there, right.len(), keys_here, zeros)
    return None


def _keys(profile: Profile) -> tuple[pl.Series, pl.Series]:
    """The texts of a column as keys are compared, and without zeros in front; none where they are
    no keys."""

    def work() -> tuple[pl.Series, pl.Series]:
        keys = _folded(profile.all_texts["text"])
        return keys, keys.str.replace("^0+([0-9]+)$", "$1").unique()

    return profile.once(("join",), work)


def _folded(texts: pl.Series) -> pl.Series:
    is_key = (
        texts.str.contains(_KEY)
        & texts.str.contains("[0-9]")
        & ~texts.str.contains(_DAY)
        & ~texts.str.contains(_AMOUNT)
    )
    if int(is_key.sum()) < max(1.0, LEAST_SHARE * texts.len()):
        return texts.clear()
    return texts.filter(is_key).str.strip_chars().str.to_lowercase().unique()


def _name(other: Beside, taken: set[str]) -> str:
    stem = other.files.rpartition("/")[2].rpartition(".")[0].lower()
    name = re.sub(r"[^a-z]+", "_", stem).strip("_") or "joined"
    return name if name not in taken else f"{name}_{len(taken) + 1}"


def _proposal(tie: _Tie, name: str) -> JoinProposal:
    block: dict[str, Any] = {
        "name": name,
        "files": [tie.other.files],
        "on": {tie.here: tie.there.header},
    }
    if tie.zeros:
        block["on_steps"] = [{"strip_zeros": True}]
    several = tie.there.repeats > _LINES
    if several:
        block |= _of_lines(tie)
    sentence = (
        f"{tie.keys_here} of {tie.keys} values of {tie.there.header} in {tie.other.shown} stand in "
        f"{tie.here}"
    )
    lines = "; it has several lines for one: say what is added up, and of which lines (where)"
    own = "Not where that file is a feed of its own"
    return JoinProposal(block, f"{sentence}{lines if several else ''}. {own}.")


def _of_lines(tie: _Tie) -> dict[str, Any]:
    """What is added up over the lines of one key, and what is told by the first of them."""
    rest = [one for one in tie.other.columns if one is not tie.there and one.header and one.count]
    amounts = [one for one in rest if one.decimal_share >= _MOSTLY_AMOUNTS]
    first = [one for one in rest if one not in amounts and not one.is_constant][:_MOST_FIRST]
    comma = sum(_with_comma(one) for one in amounts) > 0
    made = {
        "decimal": "," if comma else "",
        "sum": {_short(one): {"header": one.header} for one in amounts},
        "first": {_short(one): {"header": one.header} for one in first},
    }
    return {verb: of for verb, of in made.items() if of}


def _with_comma(profile: Profile) -> int:
    """How many more amounts of a column end in a decimal comma than in a point."""
    text, rows = profile.texts["text"], profile.texts["rows"]
    after, before = (text.str.contains(rf"{mark}[0-9]{{1,2}}-?$") for mark in (",", r"\."))
    return int(rows.filter(after).sum()) - int(rows.filter(before).sum())


def _short(profile: Profile) -> str:
    return re.sub(r"[^a-z0-9]+", "_", profile.header.lower()).strip("_") or f"c{profile.place}"
