"""Unit-days by calendar month.

Belongs here: how much time at risk there was when. Does not belong here: failures, ages.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl


def months_between(first: date, last: date) -> list[date]:
    """First days of the calendar months from that of `first` to that of `last`, both included."""
    begin, end = (np.datetime64(day, "M") for day in (first, last))
    return np.arange(begin, end + 1).astype("datetime64[D]").tolist()


def unit_days(
    stretches: pl.DataFrame, keys: list[str], months: list[date]
) -> dict[tuple[object, ...], np.ndarray]:
    """Unit-days in each of the months, by group.

    Args:
        stretches: `keys`, `begins`, `ends` (dates, half-open).
        keys: the columns that tell one group from another.
        months: first days; the last one closes the month before it and has no days of its own.

    Returns:
        group -> days in each month but the last. For a day t, the days at risk before t are
        sum(max(0, t - begins)) - sum(max(0, t - ends)), from sorted ends and running sums.
    """
    bounds = np.array(months, dtype="datetime64[D]").astype(np.int64)
    days = {}
    for group, part in stretches.partition_by(keys, as_dict=True).items():
        begun, ended = (_days_before(part[name], bounds) for name in ("begins", "ends"))
        days[group] = np.diff(begun - ended)
    return days


def _days_before(days: pl.Series, bounds: np.ndarray) -> np.ndarray:
    ordered = np.sort(days.to_numpy().astype("datetime64[D]").astype(np.int64))
    sums = np.concatenate([[0], np.cumsum(ordered)])
    passed = np.searchsorted(ordered, bounds)
    before: np.ndarray = bounds * passed - sums[passed]
    return before
