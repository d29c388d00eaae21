"""Which header is probably which column: the likeness of names, weighed by what stands below.

Belongs here: comparing names, and pairing headers with columns. Does not belong here: the
vocabulary (`synonyms`), what values look like (`likely_forms`), the text of a draft (`draft`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz

from pipelines.records.synonyms import ABBREVIATIONS

SURE, PERHAPS = 72.0, 55.0  # scores of 100 from which on a guess is written, or only mentioned

# How well the values of a header suit a column, from 0 to 1.
Fitness = Callable[[int, str], float]


@dataclass(frozen=True)
class Guess:
    """A header that may hold a column: its place, the score, and the name that it resembles.

    `by_words` is true where its values, not its name, speak for it.
    """

    column: str
    place: int
    header: str
    score: float
    resembles: str
    by_words: bool = False


def plain_words(name: str) -> str:
    """A name in lower case words, with usual abbreviations written out and units left out."""
    spaced = re.sub(r"\(.*?\)|\[.*?\]", " ", name)
    spaced = re.sub(r"([a-z]{2})([A-Z])", r"\1 \2", spaced)
    spaced = re.sub(r"#", " number ", spaced)
    spaced = re.sub(r"(?i)\bs\s*[/.]\s*n\b\.?", "serial number", spaced)
    words = re.findall(r"\w+", re.sub(r"_", " ", spaced).casefold())
    return " ".join(ABBREVIATIONS.get(word, word) for word in words)


def likeness(name: str, spoken: Sequence[str]) -> tuple[float, str]:
    """How much a name is like the nearest of several (0 to 100), and which one that is."""
    plain = plain_words(name)
    scored = [(_score(plain, plain_words(other)), other) for other in spoken]
    return max(scored, key=lambda pair: pair[0]) if plain else (0.0, spoken[0])


def _score(name: str, other: str) -> float:
    # Shared words count, but a name that only holds the other one is a little less like it.
    return max(fuzz.token_sort_ratio(name, other), 0.85 * fuzz.token_set_ratio(name, other))


def pair_columns(
    header: Sequence[str], spoken: Mapping[str, Sequence[str]], fitness: Fitness
) -> list[Guess]:
    """Pairs each column with at most one header and the other way round, best scores first.

    Args:
        header: the names in the file.
        spoken: by column, what people call it.
        fitness: weighs a pair by its values.
    """
    guesses = []
    for column, names in spoken.items():
        for place, name in enumerate(header):
            score, resembles = likeness(name, [column.replace("_", " "), *names])
            if score >= PERHAPS:
                score *= fitness(place, column)
            if score >= PERHAPS:
                guesses.append(Guess(column, place, name, score, resembles))
    kept: list[Guess] = []
    for guess in sorted(guesses, key=lambda g: (-g.score, g.place, g.column)):
        columns, places = {g.column for g in kept}, {g.place for g in kept}
        if guess.column not in columns and guess.place not in places:
            kept.append(guess)
    return kept
