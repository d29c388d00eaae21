"""The time at risk of every unit: for how long a failure of it would have come to be known.

Belongs here: the exposure of every unit and the failures inside it, which every field figure
shares. Does not belong here: what is estimated from them (`pipelines.field`).

A unit is at risk from its clock start to the earliest of the end of its longest coverage window,
the day after it was retired and the day after the as-of date; half-open, in days. Failures past
coverage are seldom reported, so neither they nor the time after it count.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pipelines.coverage.findings import switched_off
from pipelines.records.repairs import repairs_of

INSTALLED_BEFORE_SHIPPED = "installed before it was shipped"
RETIRED_BEFORE_START = "retired before the clock start"
NO_TERMS = "no terms in force"
ONE_DAY = timedelta(days=1)


def time_at_risk(units: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """The exposure of every unit, as known on the as-of date.

    Args:
        units: serial, shipped_on, installed_on, retired_on, clock_start, the four window ends of
            `pipelines.coverage.clock.unit_terms`, requested_in_time (what condition 8 counts as
            in the start-up bonus), startup_completed_on and conditions_off.
        as_of: the day on which it is looked at, itself still at risk.

    Returns:
        serial, coverage_base_end (of the longest window without the bonus), coverage_end (of the
        longest window, with the bonus where the start-up was asked for in time and completed
        before the longest base window ends; a condition that the edition switches off counts as
        met), extended_on (the day from which the bonus was known to be earned; null without it),
        watched_from, watched_until (both null where never at risk for a day), watched_days (0
        there), unsound (why the clock start cannot be relied on; null where it can: an unsound
        unit is not at risk).
    """
    # A failure would be reported for as long as either window is open.
    base = pl.max_horizontal("parts_base_end", "labor_base_end")
    extended = pl.max_horizontal("parts_extended_end", "labor_extended_end")
    done_on = (
        pl.when(switched_off("startup_completed"))
        .then("clock_start")
        .otherwise("startup_completed_on")
    )
    earned = (pl.col("requested_in_time") == "met") & (done_on < base)
    # Half-open: the last day in service and the as-of day itself are still at risk.
    until = pl.min_horizontal(
        "coverage_end", pl.col("retired_on") + ONE_DAY, pl.lit(as_of + ONE_DAY)
    )
    at_risk = pl.col("unsound").is_null() & (pl.col("clock_start") < until)
    return (
        units.with_columns(
            coverage_base_end=base,
            coverage_end=pl.when(earned).then(extended).otherwise(base),
            extended_on=pl.when(earned).then(done_on),
            unsound=_unsound(),
        )
        .with_columns(
            watched_from=pl.when(at_risk).then("clock_start"),
            watched_until=pl.when(at_risk).then(until),
        )
        .select(
            "serial",
            "coverage_base_end",
            "coverage_end",
            "extended_on",
            "watched_from",
            "watched_until",
            watched_days=(pl.col("watched_until") - pl.col("watched_from"))
            .dt.total_days()
            .fill_null(0),
            unsound="unsound",
        )
    )


def _unsound() -> pl.Expr:
    return (
        pl.when(pl.col("installed_on") < pl.col("shipped_on"))
        .then(pl.lit(INSTALLED_BEFORE_SHIPPED))
        .when(pl.col("clock_start").is_null())
        .then(pl.lit(NO_TERMS))
        .when(pl.col("retired_on") < pl.col("clock_start"))
        .then(pl.lit(RETIRED_BEFORE_START))
    )


def failures_inside(
    exposure: pl.DataFrame, calls: pl.DataFrame, causes: pl.DataFrame, duplicates: pl.DataFrame
) -> pl.DataFrame:
    """The failures that count: repair calls with their failure date inside the unit's exposure.

    Args:
        exposure: serial, watched_from, watched_until.
        calls: records of service calls.
        causes: cause, class, water_related.
        duplicates: claim, those that condition 6 disputes; they count with the one it does not.

    Returns:
        call, claim, serial, failed_on (the day used), age (whole days since the
        clock start), cause, part, cause_class (`unknown` without one), water_related, opened_on,
        claimed_on, agency, labor_hours, sorted by call.
    """
    cause_classes = causes.select("cause", cause_class="class", water_related="water_related")
    inside = (pl.col("failed_on") >= pl.col("watched_from")) & (
        pl.col("failed_on") < pl.col("watched_until")
    )
    return (
        repairs_of(calls)
        # A repair without a claim number equals no duplicate, and stays.
        .join(duplicates.select("claim"), on="claim", how="anti")
        .join(exposure.select("serial", "watched_from", "watched_until"), on="serial")
        .filter(inside)
        # A cause that the reference file lacks is a failure all the same.
        .join(cause_classes, on="cause", how="left")
        .select(
            "call",
            "claim",
            "serial",
            "failed_on",
            (pl.col("failed_on") - pl.col("watched_from")).dt.total_days().alias("age"),
            "cause",
            "part",
            pl.col("cause_class").fill_null("unknown"),
            pl.col("water_related").fill_null(False),
            "opened_on",
            "claimed_on",
            "agency",
            "labor_hours",
        )
        .sort("call")
    )


def doubtful_exposure(
    units: pl.DataFrame,
    exposure: pl.DataFrame,
    calls: pl.DataFrame,
    duplicates: pl.DataFrame,
    as_of: date,
) -> pl.DataFrame:
    """What units without a sound clock start would add, were they at risk from their shipment.

    Args:
        units: serial, shipped_on, retired_on.
        exposure: of `time_at_risk`.
        calls, duplicates: as in `failures_inside`.
        as_of: the as-of date.

    Returns:
        serial, unsound, days, failures: one row a unit left out, sorted by serial. Units without
        terms have no cover, and so no exposure either: they have no row.
    """
    until = pl.min_horizontal(
        "coverage_end", pl.col("retired_on") + ONE_DAY, pl.lit(as_of + ONE_DAY)
    )
    assumed = (
        exposure.filter(pl.col("unsound").is_not_null() & pl.col("coverage_end").is_not_null())
        .select("serial", "unsound", "coverage_end")
        .join(units.select("serial", "shipped_on", "retired_on"), on="serial")
        .select("serial", "unsound", watched_from="shipped_on", watched_until=until)
    )
    days = (pl.col("watched_until") - pl.col("watched_from")).dt.total_days()
    # These failures are only counted.
    no_causes = pl.DataFrame(
        schema={"cause": pl.String, "class": pl.String, "water_related": pl.Boolean}
    )
    failed = failures_inside(assumed, calls, no_causes, duplicates)
    counted = failed.group_by("serial").agg(failures=pl.len().cast(pl.Int64))
    return (
        assumed.join(counted, on="serial", how="left")
        .select("serial", "unsound", pl.max_horizontal(days, 0).alias("days"), "failures")
        .with_columns(pl.col("failures").fill_null(0))
        .sort("serial")
    )
