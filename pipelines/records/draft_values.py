"""The lines of a drafted mapping that are about words: constants, analytes, translations.

Belongs here: what an export says in other words than the feed. Does not belong here: how dates and
numbers are written (`draft_lines`), which words are alike (`likely_forms`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import polars as pl

from pipelines.records.draft_lines import Texts, column_kind, count_of, toml_text
from pipelines.records.headers import EITHER
from pipelines.records.likely_columns import SURE, likeness
from pipelines.records.likely_forms import word_for
from pipelines.records.mapping_checks import LONG_ANALYTES
from pipelines.records.synonyms import COLUMNS
from pipelines.records.typed_values import NO, YES
from schemas.columns import fields, required_columns
from schemas.feeds import FEED_TABLES

_MANY = 30  # words of one column that are worth a line each


def constants(feed: str, sure: Collection[str], long: bool) -> list[str]:
    """What every row needs and no header seems to hold."""
    table = fields(FEED_TABLES[feed])
    missing = [name for name in required_columns(FEED_TABLES[feed]) if name not in sure]
    lines = []
    for column in missing:
        words = (table[column].metadata or {})["words"]
        told = f"one of {', '.join(words)}" if words else "one value for all rows"
        example = words[0] if words else "…"
        lines.append(
            f"# {column} = {toml_text(example)}  # every row needs it and no header looks like it: "
            f"name its header under [columns], or here {told}"
        )
    if feed in EITHER and not any(name in sure for name in EITHER[feed]):
        lines.append("# No header looks like site or serial; one of the two is needed.")
    if long:
        lines += [
            f"# No header looks like the {part}; name it under [columns]."
            for part in ("analyte", "value")
            if part not in sure
        ]
    return ["[constants]", *lines] if lines else []


def likely_analytes(names: Sequence[str]) -> dict[str, tuple[str, float]]:
    """By the laboratory's name, the feed's column that it is probably, and the score."""
    scored = []
    for name in names:
        for column in LONG_ANALYTES:
            spoken = [column.replace("_", " "), *COLUMNS["water_tests"][column]]
            scored.append((likeness(name, spoken)[0], name, column))
    kept: dict[str, tuple[str, float]] = {}
    for score, name, column in sorted(scored, key=lambda s: (-s[0], s[1], s[2])):
        used = {told for told, _ in kept.values()}
        if score >= SURE and name not in kept and column not in used:
            kept[name] = (column, score)
    return kept


def analytes(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """Which of the laboratory's names is which column; the others are kept as they are."""
    counts = export.values(sure["analyte"])["text"].value_counts(sort=True)
    names = counts["text"].to_list()
    found = likely_analytes(names)
    lines = ["[analytes]"]
    for name, rows in counts.rows():
        if name in found:
            column, score = found[name]
            told = f"{score:.0f} of 100, {count_of(rows, 'row')}"
            lines.append(f"{toml_text(name)} = {toml_text(column)}  # {told}")
        elif len(lines) < 200:
            lines.append(
                f"# {toml_text(name)} = …  # no analyte of the feed, {count_of(rows, 'row')}"
            )
    return lines


def translations(export: Texts, sure: Mapping[str, int]) -> list[str]:
    """For listed words and yes/no: what the export writes instead."""
    parts: list[list[str]] = []
    for column, place in sure.items():
        kind = column_kind(export, column)
        if kind not in ("word", "flag"):
            continue
        words = (fields(FEED_TABLES[export.feed])[column].metadata or {})["words"]
        listed = words or ["yes", "no"]
        known = words or [*YES, *NO]
        counts = (
            export.values(place)
            .group_by(pl.col("text").str.to_lowercase().alias("lower"))
            .agg(pl.col("text").first(), pl.len())
            .filter(~pl.col("lower").is_in(known))
            .sort("len", "lower", descending=[True, False])
        )
        if counts.is_empty():
            continue
        lines = [f"[values.{column}]"]
        for text, rows in counts.select("text", "len").head(_MANY).rows():
            word, score = word_for(text, listed)
            told = count_of(rows, "row")
            if score >= SURE:
                lines.append(f"{toml_text(text)} = {toml_text(word)}  # {score:.0f} of 100, {told}")
            else:
                lines.append(
                    f'# {toml_text(text)} = "…"  # {told}, set aside until translated into one of: '
                    f"{', '.join(listed)}"
                )
        parts.append(lines)
    return [line for number, part in enumerate(parts) for line in ([""] if number else []) + part]
