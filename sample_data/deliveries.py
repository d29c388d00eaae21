"""How records arrive: in dated files, again when more is known, now and then late or twice.

Belongs here: which state of which record stands in which file. Does not belong here: how a file is
written (`writing`), rows that are set aside (`faults`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from sample_data.draws import Draws

FILE, DAY, ROW = "_file", "_day", "_row"


@dataclass(frozen=True)
class Plan:
    """How one feed arrives.

    `seen` is the date by which a record is first exported, `known` the dates that come to be known
    later, `waits` the columns that stay empty until one of those dates.
    """

    path: str  # with {day}
    days: tuple[dt.date, ...]
    seen: pl.Expr
    known: tuple[str, ...] = ()
    waits: Mapping[str, str] | None = None
    overlap_days: int = 0
    late: tuple[pl.Expr, str, dt.date] | None = None  # which rows, in which file, of which day
    sent_again: tuple[dt.date, str] | None = None  # which delivery, under which name


def month_ends(first: dt.date, last: dt.date, step: int) -> tuple[dt.date, ...]:
    """Every `step`-th month's last day from `first` to `last`, both of them month ends."""
    days = pl.date_range(first.replace(day=1), last, f"{step}mo", eager=True)
    return tuple(days.dt.month_end().to_list())


def delivered(frame: pl.DataFrame, plan: Plan, seed: int, feed: str) -> pl.DataFrame:
    """The rows of all files: the feed's columns as known on the day, FILE, DAY and ROW.

    Rows come in the order of their files, then of the records.
    """
    draws = Draws(seed, f"deliveries of {feed}")
    frame = frame.with_row_index(ROW)
    days = pl.DataFrame({DAY: plan.days}).sort(DAY)
    first = _next_delivery(frame.select(ROW, date=plan.seen), days)
    later = frame.select(ROW, *plan.known).unpivot(index=ROW, value_name="date").drop("variable")
    later = _next_delivery(later.cast({"date": pl.Date}), days)
    later = later.join(first.rename({DAY: "first"}), on=ROW).filter(pl.col(DAY) > pl.col("first"))
    turns = pl.concat([first, later.drop("first")]).unique([ROW, DAY])
    if plan.overlap_days:
        turns = pl.concat([turns, _overlap(frame, first, plan, days)]).unique([ROW, DAY])
    turns = turns.with_columns(pl.format(plan.path, DAY).alias(FILE))
    if plan.late:
        turns = _late(turns, frame, plan.late)
    if plan.sent_again:
        day, path = plan.sent_again
        again = turns.filter(pl.col(DAY) == day).with_columns(pl.lit(path).alias(FILE))
        turns = pl.concat([turns, again])
    turns = turns.sort(DAY, FILE, ROW)
    twice = turns.filter(pl.Series(draws.chance(0.0015, turns.height)))
    turns = pl.concat([turns, twice]).sort(DAY, FILE, ROW)
    rows = turns.join(frame, on=ROW, how="left", maintain_order="left")
    return _corrected(_as_known(rows, plan), frame, draws, feed)


def _next_delivery(dates: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """For each row and date the first delivery on or after it; none after the last one."""
    dates = dates.drop_nulls("date").sort("date")
    joined = dates.join_asof(days, left_on="date", right_on=DAY, strategy="forward")
    return joined.drop_nulls(DAY).select(ROW, DAY).unique()


def _overlap(
    frame: pl.DataFrame, first: pl.DataFrame, plan: Plan, days: pl.DataFrame
) -> pl.DataFrame:
    """Rows of a delivery's last days, which the next one holds again."""
    following = days.with_columns(next=pl.col(DAY).shift(-1)).drop_nulls("next")
    rows = frame.select(ROW, seen=plan.seen).join(first, on=ROW).join(following, on=DAY)
    recent = pl.col(DAY) - pl.col("seen") < pl.duration(days=plan.overlap_days)
    return rows.filter(recent).select(ROW, pl.col("next").alias(DAY))


def _late(turns: pl.DataFrame, frame: pl.DataFrame, late: tuple) -> pl.DataFrame:
    """The chosen rows arrive in one late file in place of all deliveries up to its day."""
    which, path, day = late
    chosen = frame.filter(which).select(ROW).to_series().implode()
    mine = pl.col(ROW).is_in(chosen)
    kept = turns.filter(~mine | (pl.col(DAY) > day))
    moved = turns.filter(mine & (pl.col(DAY) <= day)).select(ROW).unique()
    return pl.concat([kept, moved.with_columns(pl.lit(day).alias(DAY), pl.lit(path).alias(FILE))])


def _as_known(rows: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    governed = dict(plan.waits or {})
    known = {name: pl.col(name) <= pl.col(DAY) for name in plan.known}
    columns = [pl.when(known[name]).then(pl.col(name)).alias(name) for name in plan.known]
    columns += [
        pl.when(known[date] | pl.col(date).is_null()).then(pl.col(name)).alias(name)
        for name, date in governed.items()
    ]
    return rows.with_columns(columns)


def _corrected(rows: pl.DataFrame, frame: pl.DataFrame, draws: Draws, feed: str) -> pl.DataFrame:
    """Some calls stood with another parts amount before their last delivery."""
    if feed != "service_calls":
        return rows
    wrong = pl.Series(np.flatnonzero(draws.chance(0.12, frame.height)), dtype=pl.UInt32).implode()
    before = pl.col(DAY) < pl.col(DAY).max().over(ROW)
    typed = pl.col("parts_amount").str.replace(r"\d\.", "9.")
    return rows.with_columns(
        pl.when(pl.col(ROW).is_in(wrong) & before)
        .then(typed)
        .otherwise(pl.col("parts_amount"))
        .alias("parts_amount")
    )
