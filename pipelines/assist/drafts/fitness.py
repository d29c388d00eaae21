"""How well the values below a header suit a column of a feed, from 0 to 1, and what forbids it.

Belongs here: judging values. Does not belong here: names (`names`), pairing (`pairing`).
"""

from __future__ import annotations

import polars as pl

from pipelines.assist.drafts.analytes import known_share
from pipelines.assist.drafts.fit import (
    AMOUNT_KINDS,
    KEYS,
    Fit,
    is_guarded,
    kind_of,
    named_share,
    share_found,
)
from pipelines.assist.drafts.key_fitness import fitness_of_keys
from pipelines.assist.drafts.known import Known, kind_of_code, kinds_of, share_known
from pipelines.assist.drafts.names import best_word
from pipelines.assist.drafts.number_fitness import fitness_of_days, fitness_of_numbers
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.vocabulary import LISTED
from pipelines.records.typed_values import NO, YES
from pipelines.records.units_of_measure import is_unit
from schemas.columns import fields
from schemas.feeds import FEED_TABLES

WORD_LIKE = 0.8  # likeness from which on a word is taken for a listed one
_MANY_WORDS = 40
_EMPTY = 0.35
_OTHER_KIND = 0.6  # share of values
_POSTAL = r"^(?:[A-Z]-)?[0-9]{4,5}(?:-[0-9]{4})?$|^[A-Za-z][0-9][A-Za-z] ?[0-9][A-Za-z][0-9]$"


def fitness(feed: str, column: str, profile: Profile, known: Known, *, long: bool) -> Fit:
    """How well the values of a header suit a column."""
    if not profile.texts.height:
        reason = "no value stands below it"
        return Fit(_EMPTY, reason, reason if is_guarded(feed, column) else "")
    kind = kind_of(feed, column)
    if kind in ("day", "moment"):
        return fitness_of_days(profile)
    if kind in AMOUNT_KINDS:
        return fitness_of_numbers(feed, column, kind, profile)
    if kind in ("flag", "word"):
        return _of_words(feed, column, kind, profile)
    if column == "analyte" and kind == "name":
        share = profile.once(("analytes",), lambda: known_share(profile.texts))
        return Fit(share, f"{share:.0%} of the values are names of analytes", "", share > 0.5)
    if column == "unit" and kind == "text":
        return _of_units(profile)
    if column in KEYS or kind == "serial":
        return fitness_of_keys(feed, column, profile, known, long)
    return _of_texts(column, profile, known)


def listed_words(feed: str, column: str) -> list[tuple[str, list[str]]]:
    """The words of a column, each with how exports write it."""
    words = (fields(FEED_TABLES[feed])[column].metadata or {})["words"] or ["yes", "no"]
    return [(word, LISTED.get(word, [])) for word in words]


def _of_words(feed: str, column: str, kind: str, profile: Profile) -> Fit:
    lower = profile.texts.group_by(pl.col("text").str.to_lowercase()).agg(pl.col("rows").sum())
    if lower.height > _MANY_WORDS:
        return Fit(0.1, "there are too many different values", "there are too many values")
    listed = listed_words(feed, column)
    own = {*YES, *NO} if kind == "flag" else {word for word, _ in listed}
    known = [1.0 if text in own else best_word(text, listed)[1] for text in lower["text"].to_list()]
    rows = lower["rows"].to_list()
    total = sum(rows)
    share = sum(n for n, score in zip(rows, known, strict=True) if score >= WORD_LIKE) / total
    strong = share >= 0.9 and lower.height > 1 and kind == "word"
    return Fit(
        max(share, 0.3 if kind == "word" and lower.height <= 12 else 0.0),
        f"{share:.0%} of the values are words of {column}",
        "" if share >= 0.3 else f"few values are words of {column}",
        strong,
    )


def _of_units(profile: Profile) -> Fit:
    texts = profile.texts.filter(~pl.col("text").is_in(["-"]))
    total = profile.texts["rows"].sum()
    units = [text for text in texts["text"].to_list()[:60] if is_unit(text)]
    share = float(texts.filter(pl.col("text").is_in(units))["rows"].sum()) / float(total)
    return Fit(min(1.0, share + 0.1), f"{share:.0%} of the values are units", "", share > 0.5)


def _of_texts(column: str, profile: Profile, known: Known) -> Fit:
    if profile.day_share > 0.6:
        return Fit(0.0, "the values are dates", "the values are dates")
    kind = kind_of_code(column)
    if other := _other_kind(profile, known, kind):
        return Fit(0.3, f"the values are codes of another kind: {other}")
    if column == "region":
        return _of_regions(profile, known)
    if column == "postal_code":
        share = profile.share(pl.col("text").str.contains(_POSTAL))
        return Fit(share, f"{share:.0%} of the values look like postal codes")
    if kind is not None and known.of(kind).len():
        share = max(
            share_found(profile, known, kind),
            named_share(profile, known, kind),
        )
        reason = f"{share:.0%} of the values are known: {column}"
        plain = _of_plain_texts(column, profile).likeness
        return Fit(
            max(0.45 + 0.55 * share if share else 0.5 * plain, 0.0), reason, "", share >= 0.6
        )
    return _of_plain_texts(column, profile)


def _other_kind(profile: Profile, known: Known, kind: str | None) -> str:
    """The kind of which most values are codes, where that is not the column's own; else empty."""
    kinds = profile.once(("kinds",), lambda: kinds_of(profile.texts, known))
    return next((other for other, share in kinds if other != kind and share >= _OTHER_KIND), "")


def _of_regions(profile: Profile, known: Known) -> Fit:
    upper = pl.col("text").str.to_uppercase()
    iso = profile.share(upper.str.contains(r"^[A-Z]{2}-[A-Z0-9]{1,3}$"))
    short = profile.share(upper.str.contains(r"^[A-Z]{2,3}$"))
    listed = share_known(profile.texts, known.of("region"), "region")
    name_share = named_share(profile, known, "region")
    likeness = max(iso, listed, name_share, 0.55 * short, 0.4 * profile.letter_share)
    known_share = max(iso, listed)
    forbids = "" if known_share >= 0.5 else "say what each means under [values.region], as US-NM"
    return Fit(
        likeness, f"{known_share:.0%} of the values are codes of regions", forbids, iso > 0.8
    )


def _of_plain_texts(column: str, profile: Profile) -> Fit:
    """Texts of which no list says what they are."""
    numbers = profile.plain_number_share
    if profile.decimal_share > 0.5:
        return Fit(0.1, "the values are numbers")
    if column in ("notes", "reason"):
        likeness = 0.4 * profile.letter_share + 0.6 * min(1.0, profile.length / 18)
        return Fit(likeness * (1 - numbers), "the values are texts")
    if column in ("site_name", "ruled_by", "lab"):
        return Fit(0.95 * profile.letter_share * (1 - numbers), "the values are names")
    if column in ("part", "remark", "credit", "treatment_product", "product"):
        return Fit(0.9 if profile.length < 50 else 0.4, "the values are short texts")
    # Codes and names that come again: agency, model, cause, seller.
    likeness = 0.9 if profile.length < 40 else 0.4
    if profile.count > 20 and profile.repeats < 0.2:
        likeness *= 0.5
    return Fit(likeness, f"{profile.distinct} different values in {profile.count} rows")
