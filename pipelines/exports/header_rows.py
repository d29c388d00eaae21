"""Which row of a file is its header, where titles may stand above it.

Belongs here: choosing among the first rows by the names that are looked for, and where a name
stands in a row. Does not belong here: which names those are (`pipelines.records.headers`).
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

_PASSED_OVER = re.compile(r"[\s._\-\u2010-\u2015]")
_NUMBERED = re.compile(r"(.+)#([0-9]+)")


@functools.lru_cache(maxsize=4096)
def bare(name: str) -> str:
    """A header without regard to case, spaces, dots, dashes and underscores."""
    return _PASSED_OVER.sub("", unicodedata.normalize("NFC", name).casefold())


def places_of(name: str, header: Sequence[str]) -> list[int]:
    """Where a header stands; `Text#2` is the second of equal ones."""
    plain = [bare(one) for one in header]
    exact = [place for place, one in enumerate(plain) if one == bare(name)]
    numbered = _NUMBERED.fullmatch(name)
    if exact or not numbered:
        return exact
    equal = [place for place, one in enumerate(plain) if one == bare(numbered[1])]
    number = int(numbered[2])
    return [equal[number - 1]] if 2 <= number <= len(equal) else []


def base_of(name: str) -> str:
    """A header without the number that tells it from equal ones."""
    numbered = _NUMBERED.fullmatch(name)
    return numbered[1] if numbered else name


@dataclass(frozen=True)
class HeaderSought:
    """What is known of a header before it is found.

    - `row`: the line (of a sheet the row) on which it stands, from 1; None where it is to be found.
    - `needed`: groups of names; of each group one must stand in the header.
    """

    row: int | None = None
    needed: tuple[tuple[str, ...], ...] = ()

    def held(self, names: Sequence[str]) -> int:
        """Of how many groups a row holds a name."""
        return sum(any(places_of(name, names) for name in group) for group in self.needed)


def choose_header(rows: Sequence[tuple[int, Sequence[str]]], sought: HeaderSought) -> int:
    """The line of the header among the first rows, which are (line, cells), at least one.

    It is the first row that holds all names needed, else the one that holds most, the first of
    equals.
    """
    counts = [sought.held(names) for _, names in rows]
    return rows[counts.index(max(counts))][0]
