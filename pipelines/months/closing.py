"""Closed months: which month may be closed, and what has changed in those that are.

Belongs here: the order of closings, and adjustments. Does not belong here: the figures
(`measures`), or who may close (`pipelines.actions`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl

from pipelines.months.calendar import Month
from schemas.months import BALANCES, COMBINATION, LINES, ROWS

_SUMS = ("claims", *LINES, "total")


def first_open(closed: list[Month]) -> Month | None:
    """The first month after the first closing that is not closed; None where none ever was.

    Args:
        closed: the closed months, in the order in which they were closed.
    """
    if not closed:
        return None
    month = closed[0].after
    while month in closed:
        month = month.after
    return month


def adjustments(
    month: Month,
    frozen: Mapping[Month, pl.DataFrame],
    now: Callable[[Month], pl.DataFrame],
) -> pl.DataFrame:
    """What closed months come out as now, less what was frozen of them and adjusted before.

    Args:
        month: the first open month, in which the adjustments stand.
        frozen: the rows of each closed month as they were frozen, its adjustments among them.
        now: the rows of a month as they come out now.

    Returns:
        Rows with state `adjustment`; those that come to nothing are left out, and so are balances.
    """
    earlier = pl.concat([ROWS.to_frame(), *frozen.values()]).filter(pl.col("state") == "adjustment")
    parts = []
    for closed, rows in frozen.items():
        name = str(closed)
        before = pl.concat(
            [
                rows.filter(pl.col("state") != "adjustment"),
                earlier.filter(pl.col("adjusts") == name),
            ]
        )
        parts += [
            now(closed).with_columns(adjusts=pl.lit(name)),
            before.with_columns(
                *(-pl.col(column) for column in _SUMS),
                adjusts=pl.lit(name),
            ),
        ]
    differences = pl.concat([ROWS.to_frame(), *parts], how="vertical_relaxed").filter(
        ~pl.col("measure").is_in(BALANCES)
    )
    return (
        differences.group_by(COMBINATION)
        .agg(pl.col(_SUMS).sum())
        .filter(pl.any_horizontal(pl.col(name) != 0 for name in _SUMS))
        .with_columns(month=pl.lit(str(month)), state=pl.lit("adjustment"))
        .select(pl.col(name).cast(kind) for name, kind in ROWS.items())
        .sort(COMBINATION, nulls_last=True)
    )
