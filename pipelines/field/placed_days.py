"""Days summed by unit and group, in numbers.

Belongs here: words as numbers, and sums by them. Does not belong here: which stretches of days
there are, and what they say (`unit_days`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import polars as pl

_FEW = 10**7  # so many groups that could be are numbered by a table of them


class Placed(NamedTuple):
    """Days by unit and group: one element a unit and group in which it is watched for a day, in the
    order of both. `groups` has the words of each group; of one dimension, in their order."""

    groups: pl.DataFrame
    unit: np.ndarray
    group: np.ndarray
    days: np.ndarray

    def at(self, unit: np.ndarray, group: np.ndarray) -> np.ndarray:
        """The place of a unit in a group; -1 where it is not watched there."""
        if not len(self.unit):
            return np.full(len(unit), -1)
        size = self.groups.height
        key, wanted = self.unit * size + self.group, unit * size + group
        order = np.argsort(wanted)  # in order, they are found in a third of the time
        place = np.empty(len(wanted), np.int64)
        place[order] = np.minimum(np.searchsorted(key, wanted[order]), len(key) - 1)
        return np.where(key[place] == wanted, place, -1)

    def frame(self) -> pl.DataFrame:
        """unit, the dimensions, days."""
        return self.groups[self.group].select(
            pl.Series("unit", self.unit.astype(np.uint32)), pl.all(), pl.Series("days", self.days)
        )


class Coded(NamedTuple):
    """The number of each row's words, and the words of each number."""

    code: np.ndarray
    words: pl.DataFrame


def coded(words: pl.DataFrame) -> Coded:
    """Numbers of the words in their order."""
    every = words.unique().sort(words.columns, nulls_last=True)
    numbered = every.with_row_index("code")
    joined = words.join(
        numbered, on=words.columns, how="left", nulls_equal=True, maintain_order="left"
    )
    return Coded(joined["code"].cast(pl.Int64).to_numpy(), every)


def placed(
    unit: np.ndarray, days: np.ndarray, codes: list[Coded], rows: int, dims: Sequence[str]
) -> Placed:
    """Days summed by unit and group of codes."""
    ordered = sorted(codes, key=lambda own: min(dims.index(name) for name in own.words.columns))
    number, sizes = np.zeros(rows, np.int64), [own.words.height for own in ordered]
    for own, size in zip(ordered, sizes, strict=True):
        number = number * size + own.code
    whole = int(np.prod([float(size) for size in sizes]))
    if whole <= _FEW:
        seen = np.flatnonzero(np.bincount(number, minlength=whole))
        place = np.zeros(whole, np.int64)
        place[seen] = np.arange(len(seen))
        group = place[number]
    else:
        seen, group = np.unique(number, return_inverse=True)
    at = np.unravel_index(seen, sizes) if sizes else ()
    words = [
        column
        for own, part in zip(ordered, at, strict=True)
        for column in own.words[part].get_columns()
    ]
    groups = pl.DataFrame(words or {"_": np.zeros(len(seen), np.int32)})
    key = unit * max(len(seen), 1) + group
    # Stretches stand by unit, and most keys in order: sorting them takes little.
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    sums = np.add.reduceat(days[order], first) if len(first) else np.zeros(0, np.int64)
    at_first = order[first]
    return Placed(groups.select(dims) if sizes else groups, unit[at_first], group[at_first], sums)
