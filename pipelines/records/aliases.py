"""Other spellings of codes and names, as reference/aliases.csv says what they mean.

Belongs here: which columns an alias goes for, and how a cell finds it. Does not belong here: the
file and its faults (`pipelines.workspace.reference`), translations of one mapping (`parsing`).
"""

from __future__ import annotations

import polars as pl

from schemas.codes import ALIAS_KINDS
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

# The columns of a kind that are not called like it.
_MORE = {"product": ("treatment_product",)}


def aliases_of(feed: str, aliases: pl.DataFrame) -> dict[str, dict[str, str]]:
    """By column of a feed: what is written, in the form of `plain`, to what it means.

    Args:
        feed: the feed.
        aliases: by `schemas.reference.Aliases`.
    """
    if aliases.is_empty():
        return {}
    columns = column_names(FEED_TABLES[feed])
    by_column: dict[str, dict[str, str]] = {}
    for kind in ALIAS_KINDS:
        of_kind = aliases.filter(kind=kind).select(plain(pl.col("written")), "means")
        words = dict(zip(of_kind["written"], of_kind["means"], strict=True))
        for column in (kind, *_MORE.get(kind, ())):
            if words and column in columns:
                by_column[column] = words
    return by_column


def plain(text: pl.Expr) -> pl.Expr:
    """A text without regard to case, to spaces at its ends and to their number inside."""
    return text.str.replace_all(r"\s+", " ").str.strip_chars().str.to_lowercase()


def meant(text: pl.Expr, words: dict[str, str]) -> pl.Expr:
    """What texts mean; one that is no alias stays as it is. Applied once, never chained."""
    meaning = plain(text).replace_strict(words, default=None, return_dtype=pl.String)
    return pl.coalesce(meaning, text)
