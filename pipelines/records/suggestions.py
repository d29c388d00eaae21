"""Serials and claim numbers that are probably misspelled: one edit away from exactly one known.

Belongs here: the search. Does not belong here: using a suggestion; nothing ever does, people read
it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import polars as pl

# A page of text that slipped into the column is not worth a search.
_LONGEST = 4_096
SUGGESTIONS = pl.Schema({"serial": pl.String(), "suggestion": pl.String()})


def near_misses(unknown: pl.Series, known: pl.Series) -> pl.DataFrame:
    """The unknown serials that one edit turns into exactly one known serial.

    One edit is one character put in, taken out or replaced (Levenshtein distance 1).

    Args:
        unknown: serials as normalized; nulls, repeats and known ones are left out of the search.
        known: serials of the register.

    Returns:
        A frame in the shape of SUGGESTIONS, sorted by serial.
    """
    register = known.drop_nulls().unique()
    unknown = unknown.filter(~unknown.is_in(register.implode()))
    return (
        serials_one_edit_away(unknown, register)
        .group_by("serial")
        .agg(pl.len(), pl.col("known").first())
        .filter(pl.col("len") == 1)
        .select("serial", suggestion="known")
        .sort("serial")
    )


def serials_one_edit_away(unknown: pl.Series, known: pl.Series) -> pl.DataFrame:
    """Every pair of an unknown and a known serial that are one edit apart: serial, known.

    Nulls and repeats are left out.
    """
    typed = pl.DataFrame({"typed": unknown.drop_nulls().unique()}).filter(
        pl.col("typed").str.len_chars().is_between(1, _LONGEST)
    )
    if typed.is_empty():
        return pl.DataFrame(schema={"serial": pl.String, "known": pl.String})
    from rapidfuzz.distance import Levenshtein  # where a serial is not on the register
    from rapidfuzz.process import cpdist

    pairs = one_taken_out(typed["typed"], known.drop_nulls().unique())
    apart = cpdist(
        pairs["typed"].to_list(),
        pairs["known"].to_list(),
        scorer=Levenshtein.distance,
        score_cutoff=1,
    )
    return pairs.filter(pl.Series(apart, dtype=pl.Int64) == 1).select("known", serial="typed")


def one_taken_out(unknown: pl.Series, known: pl.Series) -> pl.DataFrame:
    """Pairs (typed, known) that become equal when at most one character is taken out of each.

    Two texts one edit apart always do; taking out one position at a time keeps the memory at that
    of one copy of the register.
    """
    typed = unknown.alias("typed").to_frame()
    register = known.alias("known").to_frame()
    long, length = pl.col("typed").str.len_chars(), pl.col("known").str.len_chars()
    longest = register.select(length.max()).item() or 0
    typed = typed.filter(long <= longest + 1)
    # Nor is a known text of use that is longer than all typed ones by more than a character.
    register = register.filter(length <= (typed.select(long.max()).item() or 0) + 1)
    forms = pl.concat([typed.select("typed", form="typed"), *_shortened("typed", typed)]).unique()
    pairs = [register.select("known", form="known").join(forms, on="form")]
    pairs.extend(shorter.join(forms, on="form") for shorter in _shortened("known", register))
    return pl.concat(pairs).select("typed", "known").unique().sort("typed", "known")


def _shortened(column: str, frame: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """The texts without their first, second … character, one frame a position."""
    text = pl.col(column)
    for position in count():
        frame = frame.filter(text.str.len_chars() > position)
        if frame.is_empty():
            return
        form = text.str.slice(0, position) + text.str.slice(position + 1)
        yield frame.select(column, form=form)
