"""Who is at risk at which age, and step functions read at whole months.

Belongs here: counting episodes and events by age. Does not belong here: estimators, which take
these tables.

An episode is a stretch of ages, both ends included, over which one unit could have an event. A
unit watched for D days is at risk at every age up to D: the contract counts at an age the units
watched for at least so many days.
"""

from __future__ import annotations

import polars as pl

MONTHS = 60
# A month of exposure is 30.4375 = 487/16 days, so that month indices are exact in whole numbers.
MONTH_DAYS = 30.4375
_SIXTEENTHS = 487


def risk_table(episodes: pl.DataFrame, events: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Events and units at risk at every age with an event.

    Args:
        episodes: `keys`, `entry`, `exit` (ages, both included), one row an episode.
        events: `keys`, `age`, one row an event.
        keys: the columns that tell one group from another; at least one.

    Returns:
        `keys`, `age`, `at_risk`, `events`, sorted.
    """
    return _counts(episodes, events, keys).filter(pl.col("events") > 0).drop("exits")


def _counts(episodes: pl.DataFrame, events: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    def tally(frame: pl.DataFrame, age: str, name: str) -> pl.DataFrame:
        counted = frame.group_by([*keys, age]).agg(pl.len().cast(pl.Int64).alias(name))
        return counted.rename({age: "age"} if age != "age" else {})

    parts = [
        tally(episodes, "entry", "entries"),
        tally(episodes, "exit", "exits"),
        tally(events, "age", "events"),
    ]
    together = pl.concat(parts, how="diagonal_relaxed")
    names = ["entries", "exits", "events"]
    summed = together.group_by([*keys, "age"]).agg(pl.col(names).sum()).sort([*keys, "age"])
    gone_before = pl.col("exits").cum_sum().over(keys) - pl.col("exits")
    at_risk = pl.col("entries").cum_sum().over(keys) - gone_before
    return summed.with_columns(at_risk=at_risk).select([*keys, "age", "at_risk", "events", "exits"])


def first_month(age: str) -> pl.Expr:
    """The first whole month at which what happens at an age (whole days) has happened."""
    return (pl.col(age) * 16 + (_SIXTEENTHS - 1)) // _SIXTEENTHS


def month_after(age: str) -> pl.Expr:
    """The first whole month that lies past an age (whole days)."""
    return pl.col(age) * 16 // _SIXTEENTHS + 1


def month_grid(groups: pl.DataFrame, last: int = MONTHS) -> pl.DataFrame:
    """Every group at every whole month from 0 to `last`."""
    return groups.join(pl.DataFrame({"months": range(last + 1)}), how="cross")


def at_months(curve: pl.DataFrame, grid: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """A step function (`keys`, `age`, values) read at the months of a grid.

    Before the first step the values are null.
    """
    stepped = (
        curve.with_columns(first_month("age").alias("months"))
        .filter(pl.col("months") <= MONTHS)
        .sort([*keys, "age"])
        .group_by([*keys, "months"], maintain_order=True)
        .last()
        .drop("age")
    )
    values = [name for name in stepped.columns if name not in (*keys, "months")]
    joined = grid.join(stepped, on=[*keys, "months"], how="left", nulls_equal=True)
    return joined.sort([*keys, "months"]).with_columns(
        pl.col(values).forward_fill().over(keys, order_by="months")
    )


def at_risk_at_months(episodes: pl.DataFrame, grid: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Adds `at_risk` to a grid: episodes that reach each month, in whole numbers."""
    steps = pl.concat(
        [
            episodes.select(*keys, months=first_month("entry"), step=pl.lit(1, pl.Int64)),
            episodes.select(*keys, months=month_after("exit"), step=pl.lit(-1, pl.Int64)),
        ]
    )
    summed = steps.group_by([*keys, "months"]).agg(pl.col("step").sum())
    joined = grid.join(summed, on=[*keys, "months"], how="left", nulls_equal=True)
    return (
        joined.sort([*keys, "months"])
        .with_columns(at_risk=pl.col("step").fill_null(0).cum_sum().over(keys, order_by="months"))
        .drop("step")
    )
