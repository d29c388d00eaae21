"""How much a header is like what people call a column, from 0 to 1.

Belongs here: names to plain words of one language, and comparing these. Does not belong here: the
words (`synonyms.toml`), what stands below a header (`fitness`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from rapidfuzz import fuzz

from pipelines.assist.drafts.fit import kind_of
from pipelines.assist.drafts.one_word import SELF, folded
from pipelines.assist.drafts.plain_names import plain_words, readings
from pipelines.assist.drafts.vocabulary import COLUMNS, KINDS, OTHERS, OTHERS_OF, WEIGHTS
from pipelines.exports.header_rows import bare

_SHORT = 2  # letters of a word that says little unless it is known
_WEAKER = 0.88
_SECOND = 0.97  # of a second reading of a short name: enough for a column, too little for a key
_FOREIGN = 0.6  # what is left of a likeness beside a word of another kind
_ENDINGS = ("s", "d", "ed", "es", "ing")
_SLIP = 86  # likeness (0 to 100) of two words that are one, misspelled


def weight(word: str) -> float:
    """How much a plain word says."""
    if word in WEIGHTS:
        return WEIGHTS[word]
    if word.isdigit() or (len(word) <= _SHORT and word not in SELF):
        return 0.25
    return 1.0


@lru_cache(maxsize=262144)
def _same(word: str, other: str) -> float:
    if word == other:
        return 1.0
    short, long = sorted((word, other), key=len)
    if len(short) >= 4 and long.startswith(short):
        # `part` is no short for `partner`: both are words of their own
        return 0.9 if long[len(short) :] in _ENDINGS or not {short, long} <= SELF else 0.0
    if len(short) >= 5 and fuzz.ratio(word, other) >= _SLIP:
        return 0.85
    return 0.0


@lru_cache(maxsize=65536)
def begins(words: tuple[str, ...]) -> frozenset[str]:
    """How words begin; words that are alike begin alike."""
    return frozenset(word[:3] for word in words)


def alike(words: tuple[str, ...], others: tuple[str, ...]) -> float:
    """The share of weight that two names have in common (Dice), from 0 to 1."""
    # Words that are alike begin alike.
    if not begins(words) & begins(others):
        return 0.0
    left = list(others)
    common = 0.0
    for word in words:
        best = max(left, key=lambda other: _same(word, other), default=None)
        if best is not None and (same := _same(word, best)):
            common += same * (weight(word) + weight(best))
            left.remove(best)
    return common / (sum(map(weight, words)) + sum(map(weight, others)))


@lru_cache(maxsize=1024)
def spoken_names(feed: str, column: str) -> tuple[tuple[tuple[str, ...], float], ...]:
    """The names of a column, each with how much it says; `~` marks names of other things too."""
    names = (*COLUMNS[feed][column], column.replace("_", " "))
    return tuple((plain_words(name), _WEAKER if name[0] == "~" else 1.0) for name in names)


@lru_cache(maxsize=65536)
def likeness(feed: str, column: str, header: str) -> float:
    """How much a header is like the names of a column; 1 where it is the column's own."""
    if bare(header) == bare(column):
        return 1.0
    return max(
        _likeness_of(feed, column, words) * (_SECOND if place else 1.0)
        for place, words in enumerate(readings(header))
    )


@lru_cache(maxsize=65536)
def spoken_likeness(feed: str, column: str, header: str) -> float:
    """How far a header speaks for a column; less where it is more like what the feed has not."""
    own = bare(header) == bare(column)
    return max(
        _over_others(
            1.0 if own else _likeness_of(feed, column, words), _other_likeness_of(feed, words)
        )
        * (_SECOND if place else 1.0)
        for place, words in enumerate(readings(header))
    )


def _over_others(name: float, other: float) -> float:
    return 0.6 * name if other > name + 0.04 or (other >= 0.99 and name < 0.99) else name


@lru_cache(maxsize=65536)
def _likeness_of(feed: str, column: str, words: tuple[str, ...]) -> float:
    """How much a reading is like the names of a column.

    A word that tells another kind of thing than the column holds (`date` of an order's number)
    counts against it, unless the name that fits has it too.
    """
    foreign = {word for word in words if word in KINDS and not _may_say(feed, column, word)}
    return max(
        part * alike(words, spoken) * (_FOREIGN if foreign - set(spoken) else 1.0)
        for spoken, part in spoken_names(feed, column)
    )


def _may_say(feed: str, column: str, word: str) -> bool:
    return kind_of(feed, column) in KINDS[word] or column in KINDS[word]


@lru_cache(maxsize=1)
def other_names() -> tuple[tuple[str, ...], ...]:
    """The names of what no feed has, in plain words."""
    return tuple(plain_words(name) for name in OTHERS)


@lru_cache(maxsize=16)
def _others_of(feed: str) -> tuple[tuple[str, ...], ...]:
    """The names of what this feed has not, in plain words."""
    return (*other_names(), *(plain_words(name) for name in OTHERS_OF[feed]))


def other_likeness(feed: str, header: str) -> float:
    """How much a header is like what a feed has not."""
    return _other_likeness_of(feed, plain_words(header))


@lru_cache(maxsize=16384)
def _other_likeness_of(feed: str, words: tuple[str, ...]) -> float:
    return max(alike(words, spoken) for spoken in _others_of(feed))


def best_word(text: str, listed: Iterable[tuple[str, list[str]]]) -> tuple[str, float]:
    """The listed word that an export's word is most like, and how much, from 0 to 1."""
    plain = _letters(text)
    scored = [
        (max(_word_likeness(plain, _letters(name)) for name in (word, *names)), word)
        for word, names in listed
    ]
    score, word = max(scored, key=lambda pair: pair[0])
    return word, score


@lru_cache(maxsize=65536)
def _letters(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", folded(text)))


@lru_cache(maxsize=65536)
def _word_likeness(text: str, name: str) -> float:
    if not text or not name:
        return 0.0
    if text == name:
        return 1.0
    if len(text) < 3 or len(name) < 3:
        return 0.0
    whole = fuzz.token_sort_ratio(text, name) / 100
    words, names = set(text.split()), set(name.split())
    if names <= words:
        whole = max(whole, 0.86 if len(name) >= 4 else 0.7)
    if len(text) >= 3 and name.startswith(text):
        whole = max(whole, 0.85)
    return whole
