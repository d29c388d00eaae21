"""One word of a header in plain words.

Belongs here: compounds, short names of parts, words cut off or without their vowels, slips. Does
not belong here: a whole header (`plain_names`), the words themselves (`synonyms.toml`).
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

from rapidfuzz import fuzz, process

from pipelines.assist.drafts.vocabulary import (
    IGNORED,
    SHORT_HEADS,
    SHORT_PARTS,
    SHORT_TAILS,
    WORDS,
)

_UMLAUTS = re.compile("(?<=[^aeiou])(ae|oe|ue)|^(ae|oe|ue)")
_LEAST_CUT, _MORE = 4, 2  # letters that a cut word has at least, and lacks at least
_SHORT = 2  # letters of a word that says little unless it is known


@lru_cache(maxsize=65536)
def folded(text: str) -> str:
    """Lower case without accents; `ue` and `ü` alike."""
    plain = text.replace("œ", "oe").replace("Œ", "oe").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", plain)
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter)).casefold()
    return _UMLAUTS.sub(lambda match: match[0][0], plain)


PLAIN = {folded(word): english.split() for word, english in WORDS.items()}
SELF = {word for english in WORDS.values() for word in english.split()}
SAID_NOTHING = {folded(word) for word in IGNORED}
_PARTS = {word for word in {*PLAIN, *SELF} if len(word) > _SHORT and word not in SAID_NOTHING}
_HEADS, _ENDS = _PARTS | set(SHORT_HEADS), _PARTS | set(SHORT_TAILS)
_TAILS = {"d": "date", "n": "number"}  # of short names of six letters
_LEAST_BEFORE_LETTER = 4
_LEAST_TAIL, _LONGEST_SHORT = 4, 10  # letters of a short name, and of the last word in it
MOST_READINGS = 8  # of a name
_MISSPELLED = 90
_LONG = sorted(word for word in {*PLAIN, *SELF} if len(word) >= 6)


@lru_cache(maxsize=4096)
def of_beginning(word: str) -> str:
    """What a word that is cut off means where most that begin so mean the same; else the word."""
    begin = folded(word)
    if begin in PLAIN or begin in SAID_NOTHING or begin in SELF or len(begin) < _LEAST_CUT:
        return word
    return _most(known for known in PLAIN if _is_cut(known, begin)) or word


def _is_cut(known: str, begin: str) -> bool:
    return known.startswith(begin) and len(known) >= len(begin) + _MORE


def _most(known: Iterable[str]) -> str:
    """What most of some words mean; empty where no meaning has more than half."""
    means = Counter(" ".join(PLAIN[one]) for one in known)
    (best, votes), *_ = means.most_common(1) or [("", 0)]
    return best if votes * 2 > sum(means.values()) else ""


def of_compound(word: str) -> list[str]:
    """The plain words of a compound whose parts are all known, of a word cut short, or the word."""
    if word in SELF or word.isdigit():
        return [word]
    parts = _split(word)
    if parts:
        return [plain for part in parts for plain in PLAIN.get(part, [part])]
    near = process.extractOne(word, _LONG, scorer=fuzz.ratio, score_cutoff=_MISSPELLED)
    if near and near[0][0] == word[0]:  # `uninstalled` is no slip of `installed`
        return [near[0]] if near[0] in SELF else PLAIN[near[0]]
    plain = _of_short_name(word) or next(iter(of_short_parts(word)), "") or _contracted(word)
    return (plain or _of_consonants(word)).split()


def _of_short_name(word: str) -> str:
    """A short name of eight letters or so whose last word is cut off (`dtinstal`); else empty."""
    for size in range(len(word) - _LEAST_TAIL, 1, -1) if len(word) <= _LONGEST_SHORT else ():
        head, tail = word[:size], word[size:]
        if head in _HEADS and (end := _most(known for known in PLAIN if known.startswith(tail))):
            return " ".join([*PLAIN.get(head, [head]), end])
    return ""


@lru_cache(maxsize=4096)
def of_short_parts(word: str) -> tuple[str, ...]:
    """What a short name may mean that is all parts of such names (`mtpiec`, `nbhmo`), the longest
    first ones first. Its last part may be any known word."""
    if len(word) > _LONGEST_SHORT:
        return ()
    means = [
        f"{head} {tail}"
        for size in range(len(word) - 2, 1, -1)
        for head in SHORT_PARTS.get(word[:size], ()) or _of_long_part(word[:size])
        for tail in _of_last_part(word[size:])
    ]
    return tuple(dict.fromkeys(means))[:MOST_READINGS]


def _of_long_part(word: str) -> tuple[str, ...]:
    """What a word is in full, in front of parts (`hardtot`)."""
    if len(word) < _LEAST_CUT or (word not in PLAIN and word not in SELF):
        return ()
    return (" ".join(PLAIN.get(word, [word])),)


def _of_last_part(word: str) -> tuple[str, ...]:
    """What the end of a short name may mean."""
    known = " ".join(PLAIN.get(word, [word] if word in SELF else []))
    return tuple(SHORT_PARTS.get(word, [known] if known else [])) or of_short_parts(word)


def _contracted(word: str) -> str:
    """A word of which the middle is left out (`prelevt`), where most that fit mean the same."""
    begin, last = word[:-1], word[-1]
    if len(begin) < _LEAST_CUT:
        return ""
    return _most(known for known in PLAIN if _is_cut(known, begin) and known.endswith(last))


@lru_cache(maxsize=16384)
def _split(word: str) -> tuple[str, ...] | None:
    """A word as at least two known parts, the longest first ones; None where that is impossible.

    Parts of two letters count only where they are usual, as `nr` at the end.
    """
    for size in range(len(word) - 1, 1, -1):
        head, tail = word[:size], word[size:]
        if head not in _HEADS:
            continue
        if tail in _TAILS and len(head) >= _LEAST_BEFORE_LETTER:
            return head, _TAILS[tail]
        # the letters that German puts between parts say nothing
        for rest in dict.fromkeys((tail.removeprefix("s"), tail.removeprefix("n"), tail)):
            if rest in _ENDS:
                return head, rest
            if len(rest) > 3 and (further := _split(rest)):
                return head, *further
    return None


@lru_cache(maxsize=4096)
def _of_consonants(word: str) -> str:
    """The plain words of a word without its vowels (`pstng`), where one meaning alone fits."""
    if len(word) < _LEAST_CUT - 1 or re.search("[aeiouy]", word[1:]):
        return word
    means = {" ".join(PLAIN.get(known, [known])) for known in _by_consonants().get(word, ())}
    return means.pop() if len(means) == 1 else word


@lru_cache(maxsize=1)
def _by_consonants() -> dict[str, set[str]]:
    index: dict[str, set[str]] = {}
    for known in {*PLAIN, *SELF}:
        if len(known) > _LEAST_CUT:
            bare = known[0] + re.sub("[aeiouy]", "", known[1:])
            index.setdefault(bare, set()).add(known)
            index.setdefault(re.sub(r"(.)\1", r"\1", bare), set()).add(known)
    return index
