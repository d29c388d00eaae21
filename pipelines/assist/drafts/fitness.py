"""How well the values below a header suit a column of a feed, from 0 to 1, and what forbids it.

Belongs here: judging values. Does not belong here: names (`names`), pairing (`pairing`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.assist.drafts.analytes import known_share
from pipelines.assist.drafts.known import Known, kind_of_code, share_known
from pipelines.assist.drafts.names import best_word
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.serial_forms import best_repair
from pipelines.assist.drafts.units import share_in_range, unit_in_name
from pipelines.assist.drafts.vocabulary import LISTED
from pipelines.records.mapping_checks import LONG_PARTS
from pipelines.records.typed_values import NO, YES
from pipelines.records.units_of_measure import is_unit
from schemas.columns import fields, key_columns
from schemas.feeds import FEED_TABLES

KEYS = ("serial", "report", "sample", "order", "line", "call", "claim", "site")
AMOUNT_KINDS = ("number", "analyte", "integer", "money", "hours")
WORD_LIKE = 0.8  # likeness from which on a word is taken for a listed one
_MANY_WORDS = 40
_FEW_REPEATS = 0.02
_EMPTY = 0.35
_POSTAL = r"^(?:[A-Z]-)?[0-9]{4,5}(?:-[0-9]{4})?$|^[A-Za-z][0-9][A-Za-z] ?[0-9][A-Za-z][0-9]$"


@dataclass(frozen=True)
class Fit:
    """How values suit a column.

    - `likeness`: from 0 to 1.
    - `why`: what speaks for it or against it, in words.
    - `forbids`: why the header may never be taken for the column unasked; empty where nothing does.
    - `is_strong`: whether the values alone already point to the column.
    """

    likeness: float
    why: str
    forbids: str = ""
    is_strong: bool = False


def kind_of(feed: str, column: str) -> str:
    """What a column holds; of the long layout `name`, `number` and `text`."""
    if column in LONG_PARTS and column not in fields(FEED_TABLES[feed]):
        return {"analyte": "name", "value": "number"}.get(column, "text")
    return str((fields(FEED_TABLES[feed])[column].metadata or {})["kind"])


def is_guarded(feed: str, column: str) -> bool:
    """Whether a column is a key or an amount, which is never taken on its name alone."""
    return column in KEYS or kind_of(feed, column) in AMOUNT_KINDS


def fitness(feed: str, column: str, profile: Profile, known: Known, *, long: bool) -> Fit:
    """How well the values of a header suit a column."""
    if not profile.texts.height:
        told = "no value stands below it"
        return Fit(_EMPTY, told, told if is_guarded(feed, column) else "")
    kind = kind_of(feed, column)
    if kind in ("day", "moment"):
        return _of_days(profile)
    if kind in AMOUNT_KINDS:
        return _of_numbers(feed, column, kind, profile)
    if kind in ("flag", "word"):
        return _of_words(feed, column, kind, profile)
    if column == "analyte" and kind == "name":
        share = profile.once(("analytes",), lambda: known_share(profile.texts))
        return Fit(share, f"{share:.0%} of the values are names of analytes", "", share > 0.5)
    if column == "unit" and kind == "text":
        return _of_units(profile)
    if column in KEYS or kind == "serial":
        return _of_keys(feed, column, profile, known, long)
    return _of_texts(column, profile, known)


def _of_days(profile: Profile) -> Fit:
    if profile.day_share >= 0.5:
        return Fit(profile.day_share, f"{profile.day_share:.0%} of the values are dates")
    counted = profile.counted_day_share
    if counted >= 0.8:
        return Fit(
            0.9 * counted, f"{counted:.0%} of the values are days as spreadsheets count them"
        )
    return Fit(profile.day_share, "the values are no dates", "the values are no dates")


def _of_numbers(feed: str, column: str, kind: str, profile: Profile) -> Fit:
    share = profile.number_share
    if profile.day_share > 0.5 and profile.plain_number_share < 0.9:
        return Fit(0.0, "the values are dates", "the values are dates")
    if share < 0.6:
        return Fit(share * 0.5, "few values are numbers", "the values are no numbers")
    numbers = profile.numbers
    in_range = share_in_range(column, numbers, unit_in_name(column, profile.header))
    told = f"{share:.0%} of the values are numbers"
    forbids = ""
    if profile.is_constant and numbers.len() and kind != "hours" and column not in _MAY_BE_CONSTANT:
        forbids = "every row has the same value"
    if in_range < 0.7:
        forbids = f"{1 - in_range:.0%} of the values are out of range"
    likeness = share * (0.3 + 0.7 * in_range)
    if kind == "integer":
        likeness *= 0.2 + 0.8 * profile.whole_share
    negative = float((numbers < 0).sum()) / max(numbers.len(), 1)
    if kind in ("money", "hours") and feed != "credits" and negative > 0.2:
        likeness, forbids = likeness * 0.4, "many values are below zero"
    if kind == "money" and _looks_like_codes(profile):
        likeness, forbids = likeness * 0.3, "the values look like codes, not like amounts"
    return Fit(min(likeness, 1.0), told, forbids)


# One value in every row is usual there: units ordered one by one, one rate of a year.
_MAY_BE_CONSTANT = ("labor_rate", "quantity", "water_lines", "value")


def _looks_like_codes(profile: Profile) -> bool:
    """Whether whole numbers of one length stand there, as codes do."""
    lengths = profile.texts["text"].str.len_chars()
    return bool(
        profile.decimal_share < 0.05
        and profile.texts.height > 3
        and lengths.n_unique() == 1
        and int(lengths[0]) >= 4
    )


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


def _of_keys(feed: str, column: str, profile: Profile, known: Known, long: bool) -> Fit:
    if profile.day_share > 0.5 and profile.counted_day_share < 0.5:
        return Fit(0.0, "the values are dates", "the values are dates")
    if profile.decimal_share > 0.2:
        told = "the values look like amounts"
        return Fit(0.05, told, told)
    if column in ("serial", "replaces"):
        return _of_serials(feed, column, profile, known)
    if column == "site":
        return _of_sites(profile, known)
    if column == "line":
        return _of_lines(profile)
    likeness, told = profile.code_share, f"{profile.code_share:.0%} of the values look like numbers"
    forbids = "the values do not look like numbers of records" if likeness < 0.6 else ""
    if profile.is_constant:
        forbids = "every row has the same value"
    elif _must_be_unique(feed, column, long) and profile.repeats > _FEW_REPEATS:
        likeness *= max(0.6, 1 - profile.repeats)
        forbids = f"{profile.repeats:.0%} of the values stand there again, which the key may not"
    return Fit(likeness, told, forbids)


def _must_be_unique(feed: str, column: str, long: bool) -> bool:
    if feed == "service_calls" and column == "claim":
        return True
    return key_columns(FEED_TABLES[feed]) == [column] and not (long and column == "sample")


def _of_serials(feed: str, column: str, profile: Profile, known: Known) -> Fit:
    likeness = profile.code_share * (1.0 if profile.length >= 3 else 0.5)
    if column == "replaces":
        return Fit(likeness, "the values look like serials")
    told = f"{profile.code_share:.0%} of the values look like serials"
    forbids = "the values do not look like serials" if likeness < 0.5 else ""
    is_register = feed == "units"
    strong = False
    if not is_register and known.of("serial").len():
        share = _share_found(profile, known, "serial")
        told = f"{share:.0%} of the values are on the register"
        strong = share >= 0.5
        likeness = 0.9 + 0.1 * share if strong else 0.15 + 0.75 * share
        forbids = "none of the values is on the register" if share == 0 else ""
    if profile.is_constant:
        forbids = "every row has the same value"
    elif is_register and profile.repeats > _FEW_REPEATS:
        likeness *= max(0.6, 1 - profile.repeats)
        forbids = f"{profile.repeats:.0%} of the values stand there again, which a serial may not"
    return Fit(likeness, told, forbids, strong)


def _of_sites(profile: Profile, known: Known) -> Fit:
    sites = known.of("site")
    forbids = "every row has the same value" if profile.is_constant else ""
    if sites.len():
        share = _share_found(profile, known, "site")
        told = f"{share:.0%} of the values are sites of the register"
        if share == 0:
            return Fit(0.2, told, forbids or "none of the values is a site of the register")
        return Fit(0.4 + 0.6 * share, told, forbids, share >= 0.6)
    likeness = max(profile.code_share, 0.75 if profile.length < 16 else 0.5)
    if profile.whole_share > 0.95 and profile.length < 2:
        likeness = 0.3
    return Fit(likeness, f"{profile.code_share:.0%} of the values look like codes", forbids)


def _of_lines(profile: Profile) -> Fit:
    share = profile.share(pl.col("text").str.contains(r"^[A-Za-z]?[0-9]{1,6}$"))
    few = profile.distinct <= max(30, profile.count * 0.3)
    likeness = share * (1.0 if few else 0.3)
    forbids = "every row has the same value" if profile.is_constant else ""
    if likeness < 0.6:
        forbids = "the values do not look like numbers of lines"
    return Fit(likeness, f"{share:.0%} of the values are short numbers", forbids)


def _of_texts(column: str, profile: Profile, known: Known) -> Fit:
    if profile.day_share > 0.6:
        return Fit(0.0, "the values are dates", "the values are dates")
    kind = kind_of_code(column)
    if column == "region":
        return _of_regions(profile, known)
    if column == "postal_code":
        share = profile.share(pl.col("text").str.contains(_POSTAL))
        return Fit(share, f"{share:.0%} of the values look like postal codes")
    if kind is not None and known.of(kind).len():
        share = max(
            _share_found(profile, known, kind),
            _named_share(profile, known, kind),
        )
        told = f"{share:.0%} of the values are known: {column}"
        plain = _of_plain_texts(column, profile).likeness
        return Fit(max(0.45 + 0.55 * share if share else 0.5 * plain, 0.0), told, "", share >= 0.6)
    return _of_plain_texts(column, profile)


def _share_found(profile: Profile, known: Known, kind: str) -> float:
    """The share of rows that is known, under the steps under which most are."""
    return profile.once(
        ("found", kind), lambda: best_repair(profile.texts, known.of(kind), kind).share
    )


def _named_share(profile: Profile, known: Known, kind: str) -> float:
    names = pl.Series(list(known.names.get(kind, {})), dtype=pl.String)
    return share_known(profile.texts, names, kind)


def _of_regions(profile: Profile, known: Known) -> Fit:
    upper = pl.col("text").str.to_uppercase()
    iso = profile.share(upper.str.contains(r"^[A-Z]{2}-[A-Z0-9]{1,3}$"))
    short = profile.share(upper.str.contains(r"^[A-Z]{2,3}$"))
    listed = share_known(profile.texts, known.of("region"), "region")
    named = _named_share(profile, known, "region")
    likeness = max(iso, listed, named, 0.75 * short, 0.4 * profile.letter_share)
    return Fit(
        likeness, f"{max(iso, listed):.0%} of the values are codes of regions", "", iso > 0.8
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
