"""What polars gives back, with the type that its column has.

Belongs here: the casts that polars asks for, since it types a cell or a sum as all that any column
may hold. Does not belong here: anything that converts or checks.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import cast

import polars as pl


def sum_of_money(amounts: pl.Series) -> Decimal:
    """The sum of a column of exact money."""
    return cast(Decimal, amounts.sum())


def least(numbers: pl.Series) -> float:
    """The smallest of a column of numbers that holds some."""
    return cast(float, numbers.min())


def most(numbers: pl.Series) -> float:
    """The largest of a column of numbers; 0 where it holds none."""
    return cast(float, numbers.max() or 0.0)


def mean_of(numbers: pl.Series) -> float:
    """The mean of a column of numbers; 0 where it holds none."""
    return cast(float, numbers.mean() or 0.0)


def median_of(numbers: pl.Series) -> float:
    """The median of a column of numbers; 0 where it holds none."""
    return cast(float, numbers.median() or 0.0)


def spread_of(numbers: pl.Series) -> float:
    """The standard deviation of a column of numbers; 0 where it holds fewer than two."""
    return cast(float, numbers.std() or 0.0)


def earliest_day(days: pl.Series) -> dt.date | None:
    """The first of a column of days; None where it holds none."""
    return cast("dt.date | None", days.min())


def latest_day(days: pl.Series) -> dt.date | None:
    """The last of a column of days; None where it holds none."""
    return cast("dt.date | None", days.max())


def greatest(numbers: pl.Series) -> int:
    """The greatest of a column of whole numbers; 0 where it holds none."""
    return cast(int, numbers.max() or 0)
