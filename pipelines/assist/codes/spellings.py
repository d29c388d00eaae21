"""Spellings of one agency, site, product or cause, put together under one of them.

Belongs here: which texts are one name, and why. Does not belong here: where they stand (`usage`),
using what is found; a person reads it.

Two texts that differ in a digit are never one name.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

_WORDS = tomllib.loads(Path(__file__).with_name("vocabulary.toml").read_text(encoding="utf-8"))
_LEGAL = frozenset(_WORDS["legal_forms"])
_SHORT: dict[str, str] = _WORDS["abbreviations"]
_UMLAUTS = re.compile("(?<![aeiou])[aou]e")
# Characters of a text from which on one slip, two and three are taken for slips.
_ONE_FROM, _TWO_FROM, _THREE_FROM = 5, 9, 17
CASE, FORM, SLIP, NAME = (
    "case or punctuation",
    "legal form or abbreviation",
    "small slip",
    "the name of the code",
)


@dataclass(frozen=True)
class Spelling:
    """A text under a group: what it is written for, how like from 0 to 1, and why."""

    written: str
    means: str
    likeness: float
    reason: str


@lru_cache(maxsize=65536)
def bare(text: str) -> str:
    """Letters and digits alone, in lower case, without accents."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss")).casefold()
    return "".join(letter for letter in plain if letter.isalnum())


@lru_cache(maxsize=65536)
def plain_name(text: str) -> str:
    """The words of a name without legal forms, abbreviations written out, run together.

    `ue` and `ü` are alike.
    """
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("&", " and "))
    plain = "".join(c for c in plain if not unicodedata.combining(c)).casefold()
    plain = _UMLAUTS.sub(lambda match: match[0][0], plain)
    plain = re.sub(r"(?<=\b[a-z])\.(?=[a-z]\b)", "", plain).replace("'", "").replace("’", "")
    words = [_SHORT.get(word, word) for word in re.findall(r"[^\W_]+", plain)]
    kept = [word for word in words if word not in _LEGAL]
    while kept and kept[-1] == "and":
        kept.pop()
    return "".join(kept or words)


@lru_cache(maxsize=65536)
def digits(text: str) -> str:
    """The digits of a text in their order; those of what differs in one are never one name."""
    return "".join(letter for letter in text if letter.isdigit())


def put_together(
    spellings: Sequence[str], codes: Iterable[str] = (), names: Mapping[str, str] | None = None
) -> list[Spelling]:
    """Every spelling with the one that it stands under; a leader stands under itself.

    Args:
        spellings: different texts, the most frequent first, of equals the one that came first.
        codes: codes of the reference file, which lead whatever is written for them.
        names: names to codes.
    """
    leaders = _Leaders()
    for code in codes:
        leaders.add(code, code)
    known = set(leaders.of_bare.values())
    for name, code in (names or {}).items():
        leaders.add_name(name, code)
    assigned = []
    for text in spellings:
        if text in known:
            assigned.append(Spelling(text, text, 1.0, ""))
            continue
        near = leaders.nearest(text)
        if near is None:
            leaders.add(text, text)
            near = (text, "", 1.0)
        means, reason, likeness = near
        assigned.append(Spelling(text, means, likeness, reason))
    return assigned


class _Leaders:
    """The texts under which others stand, by their forms."""

    def __init__(self) -> None:
        self.of_bare: dict[tuple[str, str], str] = {}
        self.of_name: dict[tuple[str, str], str] = {}
        self.names: dict[str, str] = {}
        self.by_digits: dict[str, dict[str, str]] = {}

    def add(self, text: str, leader: str) -> None:
        """One more leader; the first of equal forms stays."""
        self.of_bare.setdefault((bare(text), digits(text)), leader)
        self.of_name.setdefault((plain_name(text), digits(text)), leader)
        self.by_digits.setdefault(digits(text), {}).setdefault(plain_name(text), leader)

    def add_name(self, name: str, code: str) -> None:
        """A name that stands for a code."""
        self.names.setdefault(bare(name), code)
        self.of_name.setdefault((plain_name(name), digits(name)), code)
        self.by_digits.setdefault(digits(name), {}).setdefault(plain_name(name), code)

    def nearest(self, text: str) -> tuple[str, str, float] | None:
        """The leader that a text is a spelling of, why, and how like it is to what leads there, the
        leader or a name of it; None where it is of none."""
        if bare(text) == "":
            return None
        form = (bare(text), digits(text))
        if form in self.of_bare:
            return self.of_bare[form], CASE, 1.0
        if bare(text) in self.names:
            return self.names[bare(text)], NAME, 1.0
        name = (plain_name(text), digits(text))
        if name in self.of_name:
            return self.of_name[name], FORM, 1.0
        return self._slip(text)

    def _slip(self, text: str) -> tuple[str, str, float] | None:
        name = plain_name(text)
        length = len(name)
        edits = (length >= _ONE_FROM) + (length >= _TWO_FROM) + (length >= _THREE_FROM)
        others = self.by_digits.get(digits(text))
        if not edits or not others:
            return None
        near = process.extract(name, list(others), scorer=OSA.distance, score_cutoff=edits, limit=2)
        if not near or (len(near) > 1 and near[0][1] == near[1][1]):
            return None  # of two that are as near nobody can tell which is meant
        other = near[0][0]
        if min(len(other), length) < _ONE_FROM:
            return None
        return others[other], SLIP, round(fuzz.ratio(name, other) / 100, 3)
