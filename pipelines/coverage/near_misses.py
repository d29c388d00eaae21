"""Serials that match no unit but are one edit away from exactly one.

Belongs here: finding such units, as suggestions. Does not belong here: using them; no decision
rests on a serial that was not typed.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import polars as pl
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cpdist


def near_misses(unknown: pl.Series, serials: pl.Series) -> pl.DataFrame:
    """The unit that each unknown serial was probably meant for.

    Args:
        unknown: serials that are not on the register.
        serials: the register's serials.

    Returns:
        serial, serial_suggestion; one row for each unknown serial with exactly one unit at an edit
        distance of 1 (one character inserted, deleted or replaced).
    """
    typed = pl.DataFrame({"serial": unknown}).drop_nulls().unique()
    if typed.is_empty():
        return pl.DataFrame(schema={"serial": pl.String, "serial_suggestion": pl.String})
    pairs = _candidates(typed, pl.DataFrame({"unit": serials}).drop_nulls())
    apart = cpdist(
        pairs.get_column("serial").to_list(),
        pairs.get_column("unit").to_list(),
        scorer=Levenshtein.distance,
        score_cutoff=1,
    )
    return (
        pairs.filter(pl.Series(apart) == 1)
        .group_by("serial")
        .agg(units=pl.len(), serial_suggestion=pl.col("unit").first())
        .filter(pl.col("units") == 1)
        .select("serial", "serial_suggestion")
        .sort("serial")
    )


def _candidates(typed: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    """Pairs that become equal when at most one character is taken out of each.

    Two texts one edit apart always do; taking out one position at a time keeps the memory at that
    of one copy of the register.
    """
    of_length = units.get_column("unit").str.len_chars()
    typed = typed.filter(
        pl.col("serial").str.len_chars()
        <= (of_length.max() or 0) + 1  # others are too long for any
    )
    forms = [typed.select("serial", form="serial"), *_shortened("serial", typed)]
    wanted = pl.concat(forms).unique()
    found = [units.select("unit", form="unit").join(wanted, on="form")]
    for shorter in _shortened("unit", units):
        found.append(shorter.join(wanted, on="form"))
    return pl.concat(found).select("serial", "unit").unique().sort("serial", "unit")


def _shortened(column: str, frame: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """The texts without their first, second … character, one frame a position."""
    text = pl.col(column)
    for position in count():
        frame = frame.filter(text.str.len_chars() > position)
        if frame.is_empty():
            return
        form = text.str.slice(0, position) + text.str.slice(position + 1)
        yield frame.select(column, form=form)
