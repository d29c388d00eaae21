"""The days watched, split by calendar month, age band and water of the day, summed up once.

Belongs here: that sum, which early warning and forecasts share. Does not belong here: failures,
what is estimated from it.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl

from pipelines.field.calendar_months import months_between
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import BAND_STARTS, BANDS
from pipelines.field.unit_days import unit_days

_NO_DAY = 10**6  # as days since 1970, past any
CELLS = ("family", "needs", "age", "month")


def monthly_days(context: FieldContext) -> pl.DataFrame:
    """family, needs (of the water of the day), age (the band), month (its first day), days."""
    return context.once("monthly days", lambda: _monthly_days(context))


def _monthly_days(context: FieldContext) -> pl.DataFrame:
    """By where stretches begin and end: no stretch is split at each month.

    From its first day on a stretch is in all months, the first of them in part; from its end on it
    is in none, which takes as much away.
    """
    known = unit_days(context)
    parts = known.banded
    family, needs = known.of_unit("family"), known.of_span("needs")
    band = np.searchsorted(BAND_STARTS, parts.entry, "right") - 1
    shape = (family.words.height, needs.words.height, len(BANDS))
    number = (family.code[known.unit_of(parts)] * shape[1] + needs.code[parts.span]) * shape[2]
    kinds, cell = np.unique(number + band, return_inverse=True)
    begun = known.days_from(parts)
    ended = begun + parts.exit - parts.entry
    first, last = (
        day.astype("datetime64[D]").astype("datetime64[M]")
        for day in (begun.min(initial=_NO_DAY), ended.max(initial=0))
    )
    months = np.arange(first, max(first, last) + 1)
    starts = np.append(months, months[-1] + 1).astype("datetime64[D]").astype(np.int64)
    size, lengths = len(kinds) * len(months), np.diff(starts)
    rest, whole = np.zeros((2, size))
    for day, sign in ((begun, 1.0), (ended, -1.0)):
        month = np.searchsorted(starts, day, "right") - 1
        at = cell * len(months) + month
        rest += sign * np.bincount(at, starts[month + 1] - day, size)
        whole += sign * np.bincount(at, minlength=size)
    rest, whole = (table.reshape(len(kinds), len(months)) for table in (rest, whole))
    table = rest + (np.cumsum(whole, axis=1) - whole) * lengths
    place, at = np.nonzero(table)
    codes = np.unravel_index(kinds[place], shape) if len(kinds) else (place,) * 3
    return pl.DataFrame(
        {
            "family": family.words["family"][codes[0]],
            "needs": needs.words["needs"][codes[1]],
            "age": pl.Series(BANDS)[codes[2]],
            "month": pl.Series(months[at].astype("datetime64[D]"), dtype=pl.Date),
            "days": table[place, at].astype(np.int64),
        }
    ).sort(CELLS)


def complete_months(context: FieldContext) -> list[date]:
    """First days of the complete months of the exposure, and the one that closes the last.

    Where none is complete, those of the month of the as-of date and the next one.
    """
    first: date = context.units.select(pl.col("watched_from").min()).item() or context.as_of
    months = months_between(first, context.as_of + timedelta(days=1))
    if len(months) > 1:
        return months
    return months_between(context.as_of, context.as_of.replace(day=1) + timedelta(days=31))
