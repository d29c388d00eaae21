"""How much a header is like what people call a column, from 0 to 1.

Belongs here: names to plain words of one language, and comparing these. Does not belong here: the
words (`synonyms.toml`), what stands below a header (`fitness`).
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

from rapidfuzz import fuzz, process

from pipelines.assist.drafts.vocabulary import COLUMNS, IGNORED, OTHERS, WEIGHTS, WORDS
from pipelines.exports.header_rows import bare

_UMLAUTS = re.compile("(?<=[^aeiou])(ae|oe|ue)|^(ae|oe|ue)")
_BRACKETS = re.compile(r"\([^)]*\)|\[[^\]]*\]|\{[^}]*\}")
_UNITS = re.compile(r"(?i)(?<![a-z])(?:[mµμu]?S|umhos?|m?g|[µμu]g)\s*/\s*(?:cm|m|l|gal)\b")
_SPECIES = re.compile(r"(?i)\b(?:as|als|en)?[\s_]*CaCO_?3\b")
_OF_DEGREES = re.compile(r"°(?:d[HKh]?|f[Hh]?|[CF])\b")
_DEGREES = re.compile(r"(?i)\bT\s*°|\bT\b(?=[^\W\d_\s]*\s.*°\s*[CF]\b)")
_PRESSURES = re.compile(r"(?i)\bP\b\.?(?=.*\b(?:m?bar|psi|kpa)\b)")
_CUT = re.compile(r"([^\W\d_]{4,})\.")  # a word that is cut off by a dot
_LEAST_CUT, _MORE = 4, 2  # letters that a cut word has at least, and lacks at least
_SHORT = 2  # letters of a word that says little unless it is known
_WEAKER = 0.88
_LEAST_INSIDE = 4  # letters of a word in brackets that is no unit
_SLIP = 86  # likeness (0 to 100) of two words that are one, misspelled


@lru_cache(maxsize=65536)
def folded(text: str) -> str:
    """Lower case without accents; `ue` and `ü` alike."""
    plain = text.replace("œ", "oe").replace("Œ", "oe").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", plain)
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter)).casefold()
    return _UMLAUTS.sub(lambda match: match[0][0], plain)


_PLAIN = {folded(word): english.split() for word, english in WORDS.items()}
_IGNORED = {folded(word) for word in IGNORED}
_PARTS = {word for word in _PLAIN if len(word) > 1 and word not in _IGNORED}
_TAILS = {"d": "date", "n": "number"}  # of short names of six letters
_MISSPELLED = 90
_SELF = {word for english in WORDS.values() for word in english.split()}
_LONG = sorted(word for word in {*_PLAIN, *_SELF} if len(word) >= 6)


@lru_cache(maxsize=16384)
def plain_words(name: str) -> tuple[str, ...]:
    """A header in plain words, without units and articles."""
    name = _PRESSURES.sub(" pressure ", _DEGREES.sub(" temperature ", name))
    spaced = re.sub(r"(?i)start[\s_-]?up", " startup ", _BRACKETS.sub(_inside, name))
    spaced = re.sub(r"(?i)\bs\s*/\s*n\b\.?", " serial number ", spaced)
    spaced = re.sub(r"(?i)\bp\s*/\s*n\b\.?", " part number ", spaced)
    spaced = _OF_DEGREES.sub(" ", _SPECIES.sub(" ", _UNITS.sub(" ", spaced)))
    spaced = re.sub(r"\bpH\b", " ph ", spaced)
    spaced = re.sub(r"#|№|\bN[°º]|\bn[°º]", " number ", spaced)
    spaced = _CUT.sub(lambda match: f"{_whole(match[1])} ", spaced)
    spaced = re.sub(r"[^\W_]+", lambda match: _humps(match[0]), spaced)
    words: list[str] = []
    for word in re.findall(r"[^\W_]+", folded(spaced)):
        words += _PLAIN.get(word) or ([] if word in _IGNORED else _of_compound(word))
    return tuple(dict.fromkeys(words))


def _whole(word: str) -> str:
    """The plain words of a word that a dot cuts off, where most that begin so mean the same.

    A word in which capitals begin words is cut off in each of them.
    """
    return " ".join(_of_beginning(part) for part in _humps(word).split())


@lru_cache(maxsize=4096)
def _of_beginning(word: str) -> str:
    begin = folded(word)
    if begin in _PLAIN or begin in _IGNORED or begin in _SELF or len(begin) < _LEAST_CUT:
        return word
    whole = [known for known in _PLAIN if known.startswith(begin)]
    means = Counter(" ".join(_PLAIN[one]) for one in whole if len(one) >= len(begin) + _MORE)
    (best, votes), *_ = means.most_common(1) or [("", 0)]
    return best if votes * 2 > sum(means.values()) else word


def _inside(brackets: re.Match[str]) -> str:
    """What brackets say where they hold words (`(flowing)`); units and remarks say nothing."""
    words = re.findall(r"[^\W_]+", folded(brackets[0]))
    says = all(len(word) >= _LEAST_INSIDE and (word in _PLAIN or word in _SELF) for word in words)
    return f" {' '.join(words)} " if says else " "


def _humps(word: str) -> str:
    """A word in which capitals begin words, with spaces; a known one, such as SiO2, as it is."""
    if folded(word) in _PLAIN:
        return word
    word = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", word)
    return re.sub(r"(?<=[A-ZÀ-Þ])(?=[A-ZÀ-Þ][a-zà-ÿ]{2})", " ", word)


def _of_compound(word: str) -> list[str]:
    """The plain words of a compound whose parts are all known, else the word itself."""
    if word in _SELF or word.isdigit():
        return [word]
    parts = _split(word)
    if parts:
        return [plain for part in parts for plain in _PLAIN.get(part, [part])]
    near = process.extractOne(word, _LONG, scorer=fuzz.ratio, score_cutoff=_MISSPELLED)
    return [near[0]] if near and near[0] in _SELF else _PLAIN[near[0]] if near else [word]


@lru_cache(maxsize=16384)
def _split(word: str) -> tuple[str, ...] | None:
    """A word as at least two known parts, the longest first ones; None where that is impossible."""
    for size in range(len(word) - 1, 1, -1):
        head, tail = word[:size], word[size:]
        if head not in _PARTS and head not in _SELF:
            continue
        if tail in _TAILS and len(head) > _SHORT:
            return head, _TAILS[tail]
        for rest in dict.fromkeys((tail, tail.removeprefix("s"), tail.removeprefix("n"))):
            if rest in _PARTS or rest in _SELF:
                return head, rest
            if len(rest) > 3 and (further := _split(rest)):
                return head, *further
    return None


def weight(word: str) -> float:
    """How much a plain word says."""
    if word in WEIGHTS:
        return WEIGHTS[word]
    if word.isdigit() or (len(word) <= _SHORT and word not in _SELF):
        return 0.25
    return 1.0


@lru_cache(maxsize=262144)
def _same(word: str, other: str) -> float:
    if word == other:
        return 1.0
    short, long = sorted((word, other), key=len)
    if len(short) >= 4 and long.startswith(short):
        return 0.9
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
    words = plain_words(header)
    return max(part * alike(words, spoken) for spoken, part in spoken_names(feed, column))


@lru_cache(maxsize=1)
def other_names() -> tuple[tuple[str, ...], ...]:
    """The names of what no feed has, in plain words."""
    return tuple(plain_words(name) for name in OTHERS)


@lru_cache(maxsize=16384)
def other_likeness(header: str) -> float:
    """How much a header is like what no feed has."""
    words = plain_words(header)
    return max(alike(words, spoken) for spoken in other_names())


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
