"""What a person is told of a join that matches too little, with the way out.

Belongs here: the sentences. Does not belong here: the counts and causes (`joins`).
"""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.codes import ALIAS_KINDS, MISS_CAUSES

_ALIASED = (*ALIAS_KINDS, "treatment_product")
_PHRASES = {
    "lost_zeros": ("lost its leading zeros", "lost their leading zeros"),
    "case_or_punctuation": (
        "differs in case or punctuation alone",
        "differ in case or punctuation alone",
    ),
    "close_spelling": ("is spelled nearly alike", "are spelled nearly alike"),
    "unknown": ("is like none there", "are like none there"),
}


def sentences_below(joins: pl.DataFrame, misses: pl.DataFrame, accounts: pl.DataFrame) -> list[str]:
    """One sentence for each join that is below what it must match.

    Args:
        joins: the table `joins`.
        misses: the table `join_misses`.
        accounts: the table `row_accounts`, which tells by which mapping a file was read.
    """
    below = joins.filter("below").to_dicts()
    return [_sentence(join, _of(join, misses), accounts) for join in below]


def _of(join: dict[str, Any], misses: pl.DataFrame) -> pl.DataFrame:
    return misses.filter(feed=join["feed"], column=join["column"], to=join["to"])


def _sentence(join: dict[str, Any], misses: pl.DataFrame, accounts: pl.DataFrame) -> str:
    cause = max(MISS_CAUSES, key=lambda name: join[name])  # of equals the first
    count = join[cause]
    one, several = _PHRASES[cause]
    of_cause = misses.filter(cause=cause)
    mapping = _mapping(join["feed"], of_cause, accounts)
    # Cut, not rounded: what is below its share must not read like it.
    percent = int(100 * join["matched"] / join["rows"])
    return (
        f"{join['feed']}.{join['column']}: {join['matched']:,} of {join['rows']:,} rows match "
        f"{join['to']} ({percent} %); {count:,} {one if count == 1 else several}: "
        f"{_way_out(cause, join, of_cause, mapping)}"
    )


def _mapping(feed: str, misses: pl.DataFrame, accounts: pl.DataFrame) -> str:
    """The mapping by which most of these rows were read; the feed's own where there is none."""
    by_file = accounts.filter(pl.col("feed") == feed).select("file", "mapping").drop_nulls()
    mappings = (
        misses.join(by_file.unique("file"), left_on="first_file", right_on="file")
        .group_by("mapping")
        .agg(pl.col("rows").sum())
        .sort(["rows", "mapping"], descending=[True, False])
    )
    return f"mappings/{mappings['mapping'][0] if mappings.height else f'{feed}.toml'}"


def _way_out(cause: str, join: dict[str, Any], misses: pl.DataFrame, mapping: str) -> str:
    column, other = join["column"], join["to"].split(".")[0]
    if cause == "lost_zeros":
        return f"{_zeros(misses)} under [transforms] of {mapping}"
    if cause == "unknown":
        ways = f"add what is lacking to {other}"
        if column in _ALIASED:
            file = f"reference/{other}.csv" if other != "units" else other
            ways = f"add what is lacking to {file}, say in reference/aliases.csv what it means"
            ways += " (`limeledger codes` drafts both)" if other != "units" else ""
        return f"{ways}, or correct where {column} comes from in {mapping}"
    if column in _ALIASED:
        return "say what they mean in reference/aliases.csv (kind, written, means)"
    if cause == "case_or_punctuation":
        return f"a step such as {{ upper = true }} under [transforms] of {mapping}"
    return "correct them at the source; the table join_misses has what each may be"


def _zeros(misses: pl.DataFrame) -> str:
    """The step that puts zeros in front, or takes off those that the other side lacks."""
    rows = pl.col("rows").sum()
    length = pl.col("likely").str.len_chars()
    shorter = misses.filter(pl.col("written").str.len_chars() < length)
    longer = misses.filter(pl.col("written").str.len_chars() > length)
    if longer.select(rows).item() > shorter.select(rows).item() or shorter.is_empty():
        return "{ strip_zeros = true }"
    lengths = shorter.group_by(length.alias("length")).agg(rows)
    return f"{{ pad = {lengths.sort('rows', 'length', descending=True)['length'][0]} }}"
