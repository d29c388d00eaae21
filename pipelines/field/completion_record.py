"""Figure 5, its record: the projections that would have been made a year ago, beside what came.

Belongs here: the table `completion_record`. Does not belong here: projections.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import polars as pl

from pipelines.field.cohorts import cohorts
from pipelines.field.context import FieldContext
from pipelines.field.ends import FEWEST_SHOWN
from pipelines.field.hindsight import failures_known, fleet_known, months_on
from pipelines.field.slices import FEWEST_FAILURES, Slice, labelled
from schemas import codes

COLUMNS = ("event", "as_of", "cells", "bias", "inside_80", "inside_95")
BACK_MONTHS = 12
_NONE = "cannot be told, because nothing was projected then that has come since"


def fleet_on(context: FieldContext, day: date) -> FieldContext:
    """The context as it was known on a day: units, watches and failures up to then."""
    fleet = fleet_known(context, day).filter(~pl.col("waits"))
    until = pl.min_horizontal(pl.col("ends").cast(pl.Date), pl.lit(day + timedelta(days=1)))
    known = fleet.select(
        "unit", watched_from=pl.col("starts").cast(pl.Date), watched_until=until
    ).filter(pl.col("watched_from") < pl.col("watched_until"))
    days = (pl.col("watched_until") - pl.col("watched_from")).dt.total_days()
    names = ("watched_from", "watched_until", "watched_days")
    units = (
        context.units.drop(names)
        .join(known.with_columns(watched_days=days), on="unit", maintain_order="left")
        .select(context.units.columns)
    )
    ends = units.select("unit", "watched_days", "watched_until")
    failures = failures_known(context, day).join(ends, on="unit", maintain_order="left")
    failures = failures.filter(pl.col("age") < pl.col("watched_days")).select(
        context.failures.columns
    )
    spans = context.spans.join(ends, on="unit", maintain_order="left").filter(
        pl.col("entry") < pl.col("watched_days")
    )
    spans = spans.with_columns(
        last=pl.col("exit") >= pl.col("watched_days"),
        exit=pl.min_horizontal("exit", "watched_days"),
        until_on=pl.min_horizontal("until_on", "watched_until"),
    ).select(context.spans.columns)
    return replace(
        context,
        units=units,
        failures=failures,
        spans=spans,
        before=failures.clear(),
        as_of=day,
        competing=None,
    )


def completion_record(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """One row a group and event: cells projected twelve months before that have come since.

    A cell is a quarter of entry that had closed by then, at a month that it had not reached then,
    with 20 units at risk now. bias = the sum projected over the sum that came, less 1.
    """
    day = months_on(context.as_of, -BACK_MONTHS)
    then = context.once("a year ago", lambda: fleet_on(context, day))
    keys = [*dims, "event", "cohort", "months"]
    closed = f"{day.year}-Q{(day.month + 2) // 3}"
    projected = cohorts(then, dims).filter(
        pl.col("projected"), pl.col("completed_per_100").is_not_null(), pl.col("cohort") < closed
    )
    now = cohorts(context, dims)
    came = now.filter(
        ~pl.col("projected"), pl.col("at_risk") >= FEWEST_SHOWN, pl.col("shown")
    ).select(*keys, "failures", came=pl.coalesce("completed_per_100", "mean_per_100"))
    both = projected.drop("failures").join(came, on=keys)
    # What came may be just a limit, as where nothing fails any more: no last digit decides.
    inside = {
        f"inside_{level}": pl.col("came")
        .round(9)
        .is_between(pl.col(f"completed_low{end}").round(9), pl.col(f"completed_high{end}").round(9))
        for level, end in ((80, "_80"), (95, ""))
    }
    total = pl.col("came").sum()
    record = both.group_by(*dims, "event").agg(
        cells=pl.len().cast(pl.Int64),
        bias=pl.when(total > 0).then((pl.col("completed_per_100").sum() / total - 1).round(9)),
        most=pl.col("failures").max(),
        **{name: held.mean() for name, held in inside.items()},
    )
    every = now.select(*dims).unique() if dims else pl.DataFrame({"_": [0]})
    table = every.join(pl.DataFrame({"event": codes.EVENTS}), how="cross")
    none = pl.col("cells") == 0
    rows = table.join(record, on=[*dims, "event"], how="left").with_columns(
        pl.col("cells").fill_null(0),
        as_of=pl.lit(day),
        thin=pl.col("most").fill_null(0) < FEWEST_FAILURES,
    )
    rows = rows.with_columns(note=pl.when(none).then(pl.lit(_NONE)))
    return labelled(rows.sort(*dims, "event"), dims, COLUMNS)
