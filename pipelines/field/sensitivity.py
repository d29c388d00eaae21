"""What the rates would be under other assumptions on exposure and reporting.

Belongs here: clock starts that are guessed or unsound, by region, and rates with and without them
and with the failures that are still to be reported. Does not belong here: the rates themselves
(`rates`), the lag law (`reporting_lag`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.episodes import episodes
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95, garwood_limits
from pipelines.field.reporting_lag import completed_failures, lag_law, share_reported
from pipelines.field.slices import ALL, NO_EXPOSURE, thin

FROM_SHIPMENT = ("shipped_on", "latest_after_shipment")
ASSUMPTIONS = (
    "as watched",
    "without clock starts taken from shipment",
    "unsound clock starts taken from shipment",
    "completed for reports to come",
)
_LEAST_REPORTED = 0.1  # a failure of the last days counts for ten at the most


def clock_starts(context: FieldContext) -> pl.DataFrame:
    """Units whose clock start is guessed or unsound, by region; `all` for the whole fleet.

    Returns:
        region, units (watched for a day or more), from_shipment (of them, those whose clock start
        had to be taken from the shipment), from_shipment_share (null without a unit), unsound
        (left out of every figure), unsound_reasons (how many for each reason).
    """
    at_risk = pl.col("watched_days") > 0
    guessed = at_risk & pl.col("clock_source").is_in(FROM_SHIPMENT)
    figures = (
        at_risk.sum().cast(pl.Int64).alias("units"),
        guessed.sum().cast(pl.Int64).alias("from_shipment"),
        pl.col("unsound").count().cast(pl.Int64).alias("unsound"),
    )
    reasons = pl.format("{} {}", "count", "unsound").sort_by("unsound").str.join("; ")
    parts = []
    fleet = context.units.with_columns(region=pl.lit(ALL))
    for units in (fleet, context.units):
        why = (
            units.drop_nulls("unsound")
            .group_by("region", "unsound")
            .agg(count=pl.len())
            .group_by("region")
            .agg(unsound_reasons=reasons)
        )
        counted = units.group_by("region").agg(figures)
        if units is fleet:  # also where there is no unit
            counted = units.select(figures).select(pl.lit(ALL).alias("region"), pl.all())
        parts.append(counted.join(why, on="region", how="left").sort("region"))
    some = pl.col("units") > 0
    return pl.concat(parts).select(
        "region",
        "units",
        "from_shipment",
        pl.when(some).then(pl.col("from_shipment") / pl.col("units")).alias("from_shipment_share"),
        "unsound",
        "unsound_reasons",
    )


def sensitivity(context: FieldContext) -> pl.DataFrame:
    """Failures per 100 unit-years of each region, and of all, under each assumption.

    The last one weighs each failure by one over the share of its kind that is reported by now; its
    limits add the chain ladder's error (Mack 1993) to that of the count. The others have exact
    Poisson limits.

    Returns:
        region (`all` first), assumption, units, failures (fractional where completed), unit_years,
        rate_per_100, low, high, thin, note.
    """
    exposed = episodes(context).select("serial", "region", "days", failures=pl.lit(0))
    sure = exposed.join(
        context.units.filter(~pl.col("clock_source").is_in(FROM_SHIPMENT)), on="serial", how="semi"
    )
    doubtful = context.doubtful.select("serial", "region", pl.col("days"), "failures")
    failed = context.failures.select("serial", "region")
    weighed, error = _weighed(context)
    counts = (
        _counted(exposed, failed.with_columns(weight=1.0)),
        _counted(sure, failed.join(sure, on="serial", how="semi").with_columns(weight=1.0)),
        _counted(
            pl.concat([exposed, doubtful], how="vertical_relaxed"), failed.with_columns(weight=1.0)
        ),
        _counted(exposed, failed.with_columns(weighed)),
    )
    errors = (0.0, 0.0, 0.0, error)
    regions = pl.concat(
        [pl.DataFrame({"region": [ALL]}), context.units.select("region").unique().sort("region")]
    )
    parts = [
        regions.join(table, on="region", how="left", maintain_order="left")
        .pipe(_with_rate, more)
        .with_columns(assumption=pl.lit(name), place=pl.int_range(pl.len()))
        for table, name, more in zip(counts, ASSUMPTIONS, errors, strict=True)
    ]
    return (
        pl.concat(parts)
        .sort("place", maintain_order=True)
        .select(
            "region",
            "assumption",
            "units",
            "failures",
            "unit_years",
            "rate_per_100",
            "low",
            "high",
            "thin",
            "note",
        )
    )


def _weighed(context: FieldContext) -> tuple[pl.Series, float]:
    """What each failure stands for, with those still to be reported, and the relative error."""
    failures = context.failures
    law = lag_law(failures["failed_on"], failures["opened_on"], context.as_of)
    ago = failures.select((pl.lit(context.as_of) - pl.col("failed_on")).dt.total_days())
    reported = np.maximum(share_reported(law, ago.to_series().to_numpy()), _LEAST_REPORTED)
    development = completed_failures(failures, context.as_of)
    total = 0.0 if development is None else float(development.ultimate.sum())
    error = development.total_error / total if development is not None and total else 0.0
    return pl.Series("weight", 1 / reported), error


def _counted(exposed: pl.DataFrame, failed: pl.DataFrame) -> pl.DataFrame:
    """Units, days and weighed failures by region and in all."""
    sides = []
    for frame in (exposed, failed):
        sides.append(pl.concat([frame, frame.with_columns(region=pl.lit(ALL))]))
    exposed = (
        sides[0]
        .filter(pl.col("days") > 0)
        .group_by("region")
        .agg(
            units=pl.col("serial").n_unique().cast(pl.Int64),
            unit_years=pl.col("days").sum() / DAYS_PER_YEAR,
            more=pl.col("failures").sum().cast(pl.Float64),
        )
    )
    # Like weights are counted first, and sorted: a sum of fractions depends on their order.
    alike = sides[1].group_by("region", "weight").len().sort("region", "weight")
    happened = alike.group_by("region", maintain_order=True).agg(
        failures=(pl.col("weight") * pl.col("len")).sum()
    )
    return exposed.join(happened, on="region", how="left").select(
        "region",
        "units",
        "unit_years",
        failures=pl.col("failures").fill_null(0.0) + pl.col("more"),
    )


def _with_rate(table: pl.DataFrame, error: float) -> pl.DataFrame:
    table = table.with_columns(
        pl.col("units").fill_null(0), pl.col("unit_years", "failures").fill_null(0.0)
    )
    count, years = table["failures"].to_numpy(), table["unit_years"].to_numpy()
    low, high = garwood_limits(count)
    with np.errstate(divide="ignore", invalid="ignore"):
        # On the log scale the error of the completion adds to half the width of the count's.
        wider = [np.hypot(np.log(limit / count), Z_95 * error) for limit in (low, high)]
        if error:
            low, high = (
                np.where(count > 0, count * np.exp(sign * width), limit)
                for sign, width, limit in zip((-1, 1), wider, (low, high), strict=True)
            )
        figures = {
            name: pl.Series(name, 100 * values / years)
            for name, values in (("rate_per_100", count), ("low", low), ("high", high))
        }
    some = pl.col("unit_years") > 0
    return table.with_columns(figures.values()).with_columns(
        *(pl.when(some).then(pl.col(name)).alias(name) for name in figures),
        thin=thin(),
        note=pl.when(~some).then(pl.lit(NO_EXPOSURE)),
    )
