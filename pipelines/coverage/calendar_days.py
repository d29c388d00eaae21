"""Calendar arithmetic: whole days and whole months from a date, and how so many are said.

Belongs here: adding days and months, as polars expressions and as numpy arrays, and a count of them
in words. Does not belong here: which dates and how many (the rules).

Months keep the day of the month, clamped to the month's last day, and are added in one step from
the start: 31 January plus one month is the last of February, plus two the 31st of March.
"""

from __future__ import annotations

import numpy as np
import polars as pl

# Far beyond any failure; keeps sums of stocked cartridges within what dates can hold.
FAR_AWAY = np.datetime64("9000-01-01", "D")


def add_days(day: pl.Expr, days: pl.Expr | int) -> pl.Expr:
    """The date so many days after `day`; null where either is."""
    # What no date can hold is null, so that absurd terms stop nobody else's claim.
    return (day.cast(pl.Int64) + days).cast(pl.Int32, strict=False).cast(pl.Date)


def add_months(day: pl.Expr, months: pl.Expr) -> pl.Expr:
    """The date so many months after `day` (before it, where negative); null where either is."""
    return day.dt.offset_by(pl.concat_str(months, pl.lit("mo")))


def days_words(days: str | pl.Expr) -> pl.Expr:
    """A column of whole days in words that agree: `1 day`, `30 days`; null where it is."""
    return counted_words(days, "day")


def months_words(months: str | pl.Expr) -> pl.Expr:
    """The same of whole months."""
    return counted_words(months, "month")


def counted_words(count: str | pl.Expr, one: str) -> pl.Expr:
    """A column of whole numbers, each with its noun, which is `one` where it is 1."""
    number = pl.col(count) if isinstance(count, str) else count
    return (
        pl.when(number == 1).then(pl.lit(f"1 {one}")).otherwise(pl.format(f"{{}} {one}s", number))
    )


def add_months_array(days: np.ndarray, months: np.ndarray) -> np.ndarray:
    """The same for arrays of `datetime64[D]` and whole months, no later than `FAR_AWAY`."""
    start = days.astype("datetime64[M]")
    months = np.minimum(months, 12 * 7000).astype("timedelta64[M]")
    target = np.minimum(start + months, FAR_AWAY.astype("datetime64[M]"))
    last = (target + 1).astype("datetime64[D]") - target.astype("datetime64[D]") - 1
    into_month = np.minimum(days - start.astype("datetime64[D]"), last)
    return np.asarray(target.astype("datetime64[D]") + into_month)
