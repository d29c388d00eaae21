"""Headers in the plain words in which all names are compared.

Belongs here: units, brackets, phrases and capitals of a header, and the ways to read it. Does not
belong here: one word (`one_word`), how alike two names are (`names`).
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import chain, islice, product

from pipelines.assist.drafts.one_word import (
    MOST_READINGS,
    PLAIN,
    SAID_NOTHING,
    SELF,
    folded,
    of_beginning,
    of_compound,
    of_short_parts,
)
from pipelines.assist.drafts.vocabulary import SHORT_PARTS, SPOKEN

_BRACKETS = re.compile(r"\([^)]*\)|\[[^\]]*\]|\{[^}]*\}")
_UNITS = re.compile(r"(?i)(?<![a-z])(?:[mµμu]?S|umhos?|m?g|[µμu]g)\s*/\s*(?:cm|m|l|gal)\b")
_SPECIES = re.compile(r"(?i)\b(?:as|als|en)?[\s_]*CaCO_?3\b")
_OF_DEGREES = re.compile(r"°(?:d[HKh]?|f[Hh]?|[CF])\b")
_DEGREES = re.compile(r"(?i)\bT\s*°|\bT\b(?=[^\W\d_\s]*\s.*°\s*[CF]\b)")
_PRESSURES = re.compile(r"(?i)\bP\b\.?(?=.*\b(?:m?bar|psi|kpa)\b)")
_CUT = re.compile(r"([^\W\d_]{4,})\.")  # a word that is cut off by a dot
_LEAST_INSIDE = 4  # letters of a word in brackets that is no unit
# Letters of each part between marks in a short name, and of a plain word that may be one.
_LONGEST_PART, _SHORT = 6, 3
_SPOKEN = {folded(phrase): english for phrase, english in SPOKEN.items()}
_PHRASES = re.compile(
    f" (?:{'|'.join(sorted(map(re.escape, _SPOKEN), key=len, reverse=True))})(?= )"
)
_WRITTEN = [
    (re.compile(pattern), f" {means} ")
    for pattern, means in (
        (r"(?i)start[\s_-]?up", "startup"),
        (r"(?i)\bs\s*/\s*n\b\.?", "serial number"),
        (r"(?i)\bp\s*/\s*n\b\.?", "part number"),
        (
            r"(?i)(?:[$€£]|(?<![^\W_])(?:EUR|USD|CHF|GBP))\s*[/_]\s*(?:h|hr|hour|std|stunde|heure)\b\.?",
            "hour rate",
        ),
        (r"(?i)[(\[]\s*(?:h|hrs?|hours?|std|stunden|heures?)\.?\s*[)\]]", "hours"),
        (r"(?i)[(\[]\s*min(?:s|uten?|utes?)?\.?\s*[)\]]", "minutes"),
        (r"(?i)[@à]?\s*(?<!\d)\d\d\s*°?\s*C\b", ""),  # at which temperature it was measured
        (r"[$€£]", "amount"),
        (r"\bMg\b(?!\s*/)", "magnesium"),
        (r"(?<![^\W_])(Ca|Cl|SO4|HCO3|Fe|Na|K|NO3)\s*[⁻⁺²³0-9]?[+\-⁻⁺]+(?![^\W_])", r"\1"),
        (r"(?<![^\W_])pH(?![a-zà-ÿ])", "ph"),
        (r"#|№|\b[Nn][°º]", "number"),
    )
]


@lru_cache(maxsize=16384)
def readings(name: str) -> tuple[tuple[str, ...], ...]:
    """A header in plain words, without units and articles; the likeliest reading first.

    Parts of short names may mean several things: `PRSSTA` is the static pressure or an agency's.
    """
    spaced = _PRESSURES.sub(" pressure ", _DEGREES.sub(" temperature ", name))
    for pattern, means in _WRITTEN:
        spaced = pattern.sub(means, spaced)
    spaced = _BRACKETS.sub(_inside, spaced)
    spaced = _OF_DEGREES.sub(" ", _SPECIES.sub(" ", _UNITS.sub(" ", spaced)))
    spaced = _CUT.sub(lambda match: f"{_whole(match[1])} ", spaced)
    spaced = re.sub(r"[^\W_]+", lambda match: _humps(match[0]), spaced)
    said = " ".join(["", *re.findall(r"[^\W_]+", folded(spaced)), ""])
    said = re.sub(r" (?:du|le|am)(?= \S)", "", said)  # articles, but for a day behind them
    said = _PHRASES.sub(lambda match: f" {_SPOKEN[match[0][1:]]}", said)
    words = said.split()
    is_short = len(words) > 1 and max(map(len, words)) <= _LONGEST_PART
    meanings = [_meanings(word, is_short) for word in words]
    together = islice(product(*meanings), MOST_READINGS)
    return tuple(dict.fromkeys(tuple(dict.fromkeys(chain(*one))) for one in together))


def plain_words(name: str) -> tuple[str, ...]:
    """A header in plain words as it most likely reads."""
    return readings(name)[0]


@lru_cache(maxsize=16384)
def _meanings(word: str, is_short: bool) -> tuple[tuple[str, ...], ...]:
    """What a word may mean, the likeliest first; in short names it may be a part of such names."""
    parts = [tuple(part.split()) for part in SHORT_PARTS.get(word, ()) if is_short]
    if word in PLAIN or word in SAID_NOTHING or word.isdigit():
        means = [tuple(PLAIN.get(word, [word] if word.isdigit() else [])), *parts]
    elif word in SELF:
        means = [(word,), *(parts if len(word) <= _SHORT else [])]
    else:
        short = [tuple(one.split()) for one in of_short_parts(word)]
        means = [*parts, tuple(of_compound(word)), *short]
    return tuple(dict.fromkeys(means))


def _whole(word: str) -> str:
    """The plain words of a word that a dot cuts off, where most that begin so mean the same.

    A word in which capitals begin words is cut off in each of them.
    """
    return " ".join(of_beginning(part) for part in _humps(word).split())


def _inside(brackets: re.Match[str]) -> str:
    """What brackets say where they hold words (`(flowing)`); units and remarks say nothing."""
    words = re.findall(r"[^\W_]+", folded(brackets[0]))
    says = all(len(word) >= _LEAST_INSIDE and (word in PLAIN or word in SELF) for word in words)
    return f" {' '.join(words)} " if says else " "


def _humps(word: str) -> str:
    """A word in which capitals begin words, with spaces; a known one, such as SiO2, as it is."""
    if folded(word) in PLAIN:
        return word
    word = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", word)
    return re.sub(r"(?<=[A-ZÀ-Þ])(?=[A-ZÀ-Þ][a-zà-ÿ]{2})", " ", word)
