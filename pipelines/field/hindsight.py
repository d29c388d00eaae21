"""The fleet as it was known on a day: units installed or shipped by then, and their failures.

Belongs here: what a forecast made on that day could have known. Does not belong here: forecasts.

A unit is in it from its shipping day on. One that had not started by then starts when the median
of those that waited longer did, and is covered as long as its terms say.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl

from pipelines.coverage.calendar_days import add_months_array
from pipelines.field.context import FLEET, UNIT_DIMENSIONS, FieldContext
from schemas.polars_types import earliest_day

SALES_MONTHS = 24  # units shipped so recently tell how units start and are covered


def months_on(day: date, months: int) -> date:
    """The day some calendar months on, clamped to the month's end."""
    there: date = add_months_array(np.array([day], "datetime64[D]"), np.array([months])).item()
    return there


def by_arrival(context: FieldContext, day: date) -> bool:
    """Whether it was kept by that day which rows had arrived."""
    since = earliest_day(context.grounds.arrived_calls["arrived_on"])
    return since is not None and since <= day


def failures_known(context: FieldContext, day: date) -> pl.DataFrame:
    """The failures of which the call had arrived by that day; else, had been opened by then."""
    failures = context.failures.filter(
        pl.col("failed_on") <= day, pl.col("opened_on").fill_null(pl.col("failed_on")) <= day
    )
    if not by_arrival(context, day):
        return failures
    arrived = context.grounds.arrived_calls.filter(pl.col("arrived_on") <= day)
    return failures.join(arrived, on="call", how="semi")


def fleet_known(context: FieldContext, day: date) -> pl.DataFrame:
    """Units shipped by that day, with their cover as it was known then.

    Returns:
        unit, fleet, the unit dimensions, needs (of the water then), shipped, starts and ends (days
        since 1970, half-open), by unit; units without a sound clock start are not among them.
    """
    return context.once(("fleet known", day), lambda: _fleet_known(context, day))


def _fleet_known(context: FieldContext, day: date) -> pl.DataFrame:
    units = context.units.filter(
        pl.coalesce("shipped_on", "watched_from") <= day, pl.col("unsound").is_null()
    )
    if by_arrival(context, day):
        arrived = context.grounds.arrived_units.filter(pl.col("arrived_on") <= day)
        units = units.join(arrived, on="serial", how="semi")
    base = pl.col("coverage_base_end")
    extended = pl.col("extended_on") <= day
    retired = pl.when(pl.col("retired_on") <= day).then(pl.col("retired_on") + timedelta(days=1))
    clock = pl.coalesce("watched_from", *({"clock_start"} & {*units.columns}))
    known = (
        units.with_columns(
            clock=clock, cover=pl.when(extended).then("coverage_end").otherwise(base)
        )
        .filter(pl.col("clock").is_not_null(), pl.col("cover").is_not_null())
        .select(
            "unit",
            FLEET,
            *UNIT_DIMENSIONS,
            "profile_needs",
            shipped=pl.coalesce("shipped_on", "clock").cast(pl.Int64),
            starts=pl.col("clock").cast(pl.Int64),
            cover=pl.col("cover").cast(pl.Int64),
            retired=retired.cast(pl.Int64),
        )
        .sort("unit")
    )
    begun = _started(known, int(np.datetime64(day, "D").astype(np.int64)))
    return _with_needs(context, begun, day)


def _started(known: pl.DataFrame, day: int) -> pl.DataFrame:
    """Those that wait get the start of the median of the recent ones that waited longer."""
    starts, shipped = known["starts"].to_numpy().copy(), known["shipped"].to_numpy()
    length = known["cover"].to_numpy() - starts
    waits = starts > day
    recent = ~waits & (shipped > day - round(SALES_MONTHS * 30.4375))
    family = known["family"].to_numpy()
    for name in np.unique(family[waits]):
        delays = np.sort((starts - shipped)[recent & (family == name)])
        own = np.flatnonzero(waits & (family == name))
        first = np.searchsorted(delays, day - shipped[own], "right")
        middle = np.minimum(first + (len(delays) - first) // 2, len(delays) - 1)
        median = delays[middle] if len(delays) else np.zeros(len(own), np.int64)
        late = first >= len(delays)  # it has waited longer than any
        starts[own] = np.where(late, day + 1, np.maximum(shipped[own] + median, day + 1))
    ends = starts + length
    return known.with_columns(
        starts=pl.Series(starts),
        ends=pl.min_horizontal(pl.Series(ends), "retired"),
        waits=pl.Series(waits),
    ).drop("cover", "retired")


def _with_needs(context: FieldContext, fleet: pl.DataFrame, day: date) -> pl.DataFrame:
    """What the water needed then: of the last stretch begun by that day, else of the first."""
    begun = pl.col("from_on") <= day
    of_spans = (
        context.spans.sort("unit", "entry")
        .group_by("unit")
        .agg(last=pl.col("needs").filter(begun).last(), first=pl.col("needs").first())
    )
    return (
        fleet.join(of_spans, on="unit", how="left", maintain_order="left")
        .with_columns(needs=pl.coalesce("last", "first", "profile_needs"))
        .drop("last", "first", "profile_needs")
    )
