"""Days as whole numbers since 1970-01-01, with NONE for a day that is not known.

Belongs here: calendar steps on such arrays. Does not belong here: what the days mean.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

Array = np.ndarray
NONE = -1  # no day of the sample is as early as 1970


def day(text: str) -> int:
    """The number of one ISO day."""
    return (dt.date.fromisoformat(text) - dt.date(1970, 1, 1)).days


def add_months(days: Array, months: int | Array) -> Array:
    """Calendar months later, clamped to the month's last day."""
    dates = days.astype("datetime64[D]")
    first = dates.astype("datetime64[M]")
    target = first + np.asarray(months, dtype="timedelta64[M]")
    length = ((target + 1).astype("datetime64[D]") - target.astype("datetime64[D]")).astype(int)
    position = (dates - first.astype("datetime64[D]")).astype(int)
    return target.astype("datetime64[D]").astype(np.int64) + np.minimum(position, length - 1)


def first_known(*choices: Array) -> Array:
    """The first of several days that is known, row by row."""
    chosen = choices[0]
    for choice in choices[1:]:
        chosen = np.where(chosen == NONE, choice, chosen)
    return chosen


def known_by(days: Array, limit: int | Array) -> Array:
    """The days, with NONE for those after the limit."""
    return np.where(days > limit, NONE, days)


def to_dates(name: str, days: Array) -> pl.Series:
    """A column of dates, null where there is none."""
    whole = pl.Series(name, days.astype(np.int32))
    return whole.set(whole == NONE, None).cast(pl.Date)


def months_of(days: Array) -> Array:
    """The calendar month of each day, 1 to 12."""
    return days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % 12 + 1
