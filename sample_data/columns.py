"""Columns of text and dates from arrays of positions and days.

Belongs here: turning arrays into polars columns without a loop. Does not belong here: which columns
a feed has.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from sample_data.days import NONE
from sample_data.draws import Array
from sample_data.editions import FAMILIES

# No I, O or Q, and a prime number of letters: one wrong digit never gives another unit's serial.
_CHECK_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"
_PRIME_STEP, _NUMBERS = 389_993, 1_000_000


def words(positions: Array, choices: Sequence[str]) -> pl.Series:
    """The choice at each position; null where the position is NONE."""
    index = pl.Series(positions.astype(np.int32))
    return pl.Series(choices, dtype=pl.String).gather(index.set(index == NONE, None))


def numbered(prefix: str, numbers: Array, width: int = 6) -> pl.Series:
    """`prefix` and the number with leading zeros; null where the number is NONE."""
    column = pl.Series(numbers.astype(np.int64))
    known = pl.select(
        pl.lit(prefix) + column.set(column == NONE, None).cast(pl.String).str.zfill(width)
    )
    return known.to_series()


def serials(family: Array, shipped: Array) -> pl.Series:
    """The serial of each unit: family, year, number and a check letter, such as B23-417093-K."""
    count = len(family)
    if count > _NUMBERS:
        raise ValueError(f"at most {_NUMBERS} units have serials of their own")
    year = shipped.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64) + 1970 - 2000
    number = (np.arange(count) * _PRIME_STEP + 104_729) % _NUMBERS
    total = np.zeros(count, dtype=np.int64)
    for weight in range(1, 7):
        total += weight * (number // 10 ** (weight - 1) % 10)
    check = (total + 7 * year) % len(_CHECK_LETTERS)
    frame = pl.DataFrame(
        {
            "family": words(family, [name[0] for name in FAMILIES]),
            "year": pl.Series(year).cast(pl.String),
            "number": numbered("", number),
            "check": words(check, list(_CHECK_LETTERS)),
        }
    )
    return frame.select(pl.format("{}{}-{}-{}", "family", "year", "number", "check")).to_series()


def where(known: Array, column: pl.Series) -> pl.Series:
    """The column, with null where it is not known."""
    return column.zip_with(
        pl.Series(known), pl.Series([None], dtype=column.dtype).new_from_index(0, len(column))
    )


def money(amount: Array) -> pl.Series:
    """Amounts as text with two decimals; null where NaN."""
    cents = np.where(np.isnan(amount), 0, np.round(np.nan_to_num(amount) * 100)).astype(np.int64)
    return where(~np.isnan(amount), decimals(cents, 2))


def decimals(units: Array, places: int) -> pl.Series:
    """Whole numbers of the last decimal place as text: 425 with 1 place is 42.5."""
    size = 10**places
    frame = pl.DataFrame({"n": units.astype(np.int64)})
    sign = pl.when(pl.col("n") < 0).then(pl.lit("-")).otherwise(pl.lit(""))
    whole = (pl.col("n").abs() // size).cast(pl.String)
    rest = (pl.col("n").abs() % size).cast(pl.String).str.zfill(places)
    return frame.select(
        sign + whole + pl.lit("." if places else "") + rest if places else sign + whole
    ).to_series()


def measured(values: Array, places: int) -> pl.Series:
    """Readings as text with this many decimals; null where NaN."""
    known = ~np.isnan(values)
    units = np.round(np.where(known, values, 0) * 10**places).astype(np.int64)
    return where(known, decimals(units, places))
