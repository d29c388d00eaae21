"""Serials that are probably misspelled: one edit away from exactly one known serial.

Belongs here: the search. Does not belong here: using a suggestion; nothing ever does, people read
it.
"""

from __future__ import annotations

import polars as pl

# No maker's serial is longer; a note that slipped into the column is not worth a search.
_LONGEST = 64


def near_misses(unknown: pl.Series, known: pl.Series) -> pl.DataFrame:
    """The unknown serials that one edit turns into exactly one known serial.

    One edit is one character put in, taken out or replaced (Levenshtein distance 1).

    Args:
        unknown: serials as normalized; nulls, repeats and known ones are left out of the search.
        known: serials of the register.

    Returns:
        A frame with `serial` and `suggestion`, sorted by serial.
    """
    register = pl.DataFrame({"known": known.drop_nulls().unique()}).filter(
        pl.col("known").str.len_chars() <= _LONGEST + 1
    )
    asked = (
        pl.DataFrame({"asked": unknown.drop_nulls().unique()})
        .filter(pl.col("asked").str.len_chars().is_between(1, _LONGEST))
        .join(register, left_on="asked", right_on="known", how="anti")
    )
    found = [_edited_at(place, asked, register) for place in range(_rounds(asked))]
    pairs = pl.concat([pl.DataFrame(schema={"asked": pl.String, "known": pl.String}), *found])
    return (
        pairs.unique()
        .group_by("asked")
        .agg(pl.len(), pl.col("known").first())
        .filter(pl.col("len") == 1)
        .select(serial="asked", suggestion="known")
        .sort("serial")
    )


def _rounds(asked: pl.DataFrame) -> int:
    longest = asked["asked"].str.len_chars().max()
    return 0 if longest is None else int(longest) + 1  # type: ignore[arg-type]


def _edited_at(place: int, asked: pl.DataFrame, register: pl.DataFrame) -> pl.DataFrame:
    """Pairs that differ by the one character at `place`, in either or in both of them."""
    less_asked = _without(asked, "asked", place)
    less_known = _without(register, "known", place)
    replaced = less_asked.join(less_known, on="rest")
    added = less_asked.join(register.with_columns(rest="known"), on="rest")
    dropped = asked.with_columns(rest="asked").join(less_known, on="rest")
    return pl.concat([pairs.select("asked", "known") for pairs in (replaced, added, dropped)])


def _without(serials: pl.DataFrame, column: str, place: int) -> pl.DataFrame:
    text = pl.col(column)
    return serials.filter(text.str.len_chars() > place).with_columns(
        rest=text.str.slice(0, place) + text.str.slice(place + 1)
    )
