"""What an export says in other words than the feed: listed words, free texts, other spellings.

Belongs here: translations, phrases and aliases, each with its number of rows. Does not belong here:
the words that are usual (`synonyms.toml`), the lines of a draft (`draft`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipelines.assist.drafts.fit import kind_of
from pipelines.assist.drafts.fitness import WORD_LIKE, listed_words
from pipelines.assist.drafts.known import Known, kind_of_code
from pipelines.assist.drafts.names import best_word
from pipelines.assist.drafts.one_word import folded
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS
from pipelines.assist.drafts.profiles import Profile
from pipelines.records.spellings import likely
from pipelines.records.typed_values import NO, YES

_MANY = 40
_WORD = re.compile(r"[^\W\d_]{4,}")


@dataclass(frozen=True)
class Translation:
    """What one written word probably means; `means` is empty where nobody can tell."""

    column: str
    written: str
    means: str
    state: str
    rows: int


@dataclass(frozen=True)
class Phrase:
    """Words that a text holds where it probably means a code, and in how many rows they stand."""

    code: str
    any: list[str]
    rows: int


@dataclass(frozen=True)
class AliasProposal:
    """Another spelling, or a name, of a code that is known."""

    kind: str
    written: str
    means: str
    rows: int


def translations(feed: str, column: str, profile: Profile, emptied: list[str]) -> list[Translation]:
    """For listed words and yes/no: what the export writes instead."""
    kind = kind_of(feed, column)
    if kind not in ("word", "flag"):
        return []
    listed = listed_words(feed, column)
    own = [*YES, *NO] if kind == "flag" else [word for word, _ in listed]
    lower = pl.col("text").str.to_lowercase()
    counts = (
        profile.all_texts.group_by(lower.alias("lower"), maintain_order=True)
        .agg(pl.col("text").first(), pl.col("rows").sum())
        .filter(~pl.col("lower").is_in([*own, *emptied]))
        .head(_MANY)
    )
    proposals = []
    for text, rows in zip(counts["text"], counts["rows"], strict=True):
        word, score = best_word(text, listed)
        if text.strip() in ("-", "–") and kind == "flag":
            word, score = "no", WORD_LIKE
        sure = score >= WORD_LIKE
        means = word if score >= 0.6 else ""
        proposals.append(Translation(column, text, means, ACTIVE if sure else PERHAPS, int(rows)))
    return proposals


def phrases(texts: pl.DataFrame, names: dict[str, str]) -> list[Phrase]:
    """The codes whose describing words stand in texts, those of most rows first.

    Args:
        texts: `text` and `rows` of one column of free text.
        names: descriptions to codes.
    """
    common: dict[str, int] = {}
    words_of: dict[str, list[str]] = {}
    for name, code in names.items():
        words = list(dict.fromkeys(_WORD.findall(folded(name))))
        words_of[code] = words
        for word in words:
            common[word] = common.get(word, 0) + 1
    plain = texts.with_columns(plain=pl.col("text").str.normalize("NFKD").str.to_lowercase())
    proposals = []
    for code, words in words_of.items():
        telling = [word for word in words if common[word] == 1]
        if not telling:
            continue
        held = [word for word in telling if plain["plain"].str.contains(word, literal=True).any()]
        if held:
            hit = pl.any_horizontal(pl.col("plain").str.contains(w, literal=True) for w in held)
            proposals.append(Phrase(code, held, int(plain.filter(hit)["rows"].sum())))
    return sorted(proposals, key=lambda phrase: (-phrase.rows, phrase.code))


def alias_proposals(column: str, profile: Profile, known: Known) -> list[AliasProposal]:
    """Values that are no code and probably mean one: by its name, or by a close spelling."""
    kind = kind_of_code(column)
    if kind is None or kind in ("serial", "seller") or known.of(kind).is_empty():
        return []
    codes = known.of(kind)
    lower = pl.col("text").str.to_lowercase()
    missed = profile.texts.filter(~lower.is_in(codes.str.to_lowercase().implode())).head(400)
    if missed.is_empty():
        return []
    names = known.names.get(kind, {})
    near = likely(missed["text"], codes, digits_count=False)
    by_spelling = dict(zip(near["written"], near["likely"], strict=True))
    spelled_names = pl.Series(list(names), dtype=pl.String)
    by_name = {}
    if spelled_names.len():
        near_names = likely(
            missed["text"].str.to_lowercase().unique(), spelled_names, digits_count=False
        )
        by_name = dict(zip(near_names["written"], near_names["likely"], strict=True))
    proposals = []
    for text, rows in zip(missed["text"], missed["rows"], strict=True):
        spoken = text.lower()
        means = names.get(spoken) or names.get(by_name.get(spoken) or "") or by_spelling.get(text)
        if means:
            proposals.append(AliasProposal(kind, text, means, int(rows)))
    return proposals[:_MANY]
