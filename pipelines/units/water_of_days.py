"""The water of a day: which test is in force on each day at risk, and what it says.

Belongs here: the test in force. Does not belong here: the water that a unit has now, which is its
profile, and what a test says (`pipelines.water`).

A failure is laid to the water of its day, since a later test may have been made because of it.
"""

from __future__ import annotations

import polars as pl

from schemas import codes

START_UP_SAMPLE_DAYS = 90  # by then after the clock start a first sample stands for the days before
UNTESTED, NO_NEED = "untested", "none"
RATIOS = tuple(f"ratio_{name}" for name in codes.LIMITED_ANALYTES)
COLUMNS = ("serial", "from_on", "until_on", "sample", "needs", "severity", *RATIOS)


def waters_in_force(judged: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    """The days at risk of every unit, split wherever another test comes into force.

    Of a unit's complete supply tests (where none is complete, of all) the one that was last sampled
    by the day; of several of one day the last reported, then the greatest sample. Before the first
    of them the first, where it was sampled within 90 days of the clock start; else the day is
    untested.

    Args:
        judged: of `water.profiles.judged_supply_tests`.
        units: serial, watched_from (the clock start), watched_until; null where never at risk.

    Returns:
        serial, from_on, until_on (the first day that is not of it), sample (null: untested), needs
        (sorted abilities joined by `+`, `none`, or `untested`), severity (or `untested`), and the
        classes of `water.limits.ratio_classes`; by serial and day.
    """
    watched = units.select("serial", "watched_from", "watched_until").drop_nulls()
    standing = judged.filter(pl.col("complete") | ~pl.col("complete").any().over("serial"))
    tested = (
        standing.filter(pl.col("sampled_on").is_not_null())
        .sort("serial", "sampled_on", "reported_on", "sample")
        .unique(["serial", "sampled_on"], keep="last", maintain_order=True)
        .join(watched, on="serial", maintain_order="left")
        .with_columns(
            first=pl.int_range(pl.len()).over("serial") == 0,
            next_on=pl.col("sampled_on").shift(-1).over("serial"),
        )
    )
    at_start = pl.col("sampled_on") <= pl.col("watched_from") + pl.duration(
        days=START_UP_SAMPLE_DAYS
    )
    since = pl.when(pl.col("first") & at_start).then("watched_from").otherwise("sampled_on")
    spans = tested.with_columns(since=since).select(
        "serial",
        from_on=pl.max_horizontal("since", "watched_from"),
        until_on=pl.min_horizontal("next_on", "watched_until"),
        sample="sample",
        needs=pl.when(pl.col("needs").list.len() == 0)
        .then(pl.lit(NO_NEED))
        .otherwise(pl.col("needs").list.join("+")),
        severity="severity",
        **{name: pl.col(name) for name in RATIOS},
    )
    spans = spans.filter(pl.col("from_on") < pl.col("until_on"))
    begun = spans.group_by("serial").agg(tested_on=pl.col("from_on").min())
    untested = (
        watched.join(begun, on="serial", how="left")
        .select(
            "serial",
            from_on="watched_from",
            until_on=pl.coalesce("tested_on", "watched_until"),
            sample=pl.lit(None, pl.String),
            needs=pl.lit(UNTESTED),
            severity=pl.lit(UNTESTED),
            **{name: pl.lit(0, pl.Int8) for name in RATIOS},
        )
        .filter(pl.col("from_on") < pl.col("until_on"))
    )
    return pl.concat([spans, untested]).select(COLUMNS).sort("serial", "from_on")
