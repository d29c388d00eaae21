"""The water profile of every unit, and all supply tests from which it is chosen.

Belongs here: which tests are of a unit, and the one that stands for it now. Does not belong here:
what a test says (`limits`, `profiles`), the water of a past day (`pipelines.units.water_of_days`).
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.water.limits import needs_of, ratio_classes
from pipelines.water.profiles import profile_word
from schemas import codes

NEWEST_LAST = ("sampled_on", "_seen_on", "sample")


def profile_units(
    tests: pl.DataFrame,
    units: pl.DataFrame,
    limits: pl.DataFrame,
    values: pl.DataFrame,
    as_of: date,
) -> pl.DataFrame:
    """The water profile of every unit (field.md), by serial.

    The latest complete supply test of the unit, by site or serial, seen by the as-of date; where
    none is complete, the latest. Latest: by sampled_on, then reported_on (or sampled_on), then
    sample. Judged under the unit's own terms; a unit without terms has no limits to break.

    Args:
        tests: records of `water_tests`.
        units: serial, site, edition, family.
        limits: `Terms.water_limits`.
        values: `Terms.values`.
        as_of: tests reported (or, without that, sampled) later are not seen.

    Returns:
        serial, water_profile, needs (empty where untested), worst_ratio, severity (null where
        untested), sample, sampled_on, complete (all null where untested).
    """
    return latest_profiles(judged_supply_tests(tests, units, limits, values, as_of), units)


def judged_supply_tests(
    tests: pl.DataFrame,
    units: pl.DataFrame,
    limits: pl.DataFrame,
    values: pl.DataFrame,
    as_of: date,
) -> pl.DataFrame:
    """Every supply test of every unit seen by the as-of date, under the unit's own terms.

    Takes what `profile_units` takes. Returns serial, sample, sampled_on, reported_on (or
    sampled_on), needs, worst_ratio, severity, complete, and `limits.ratio_classes`; one row a unit
    and test, in the order of `NEWEST_LAST`.
    """
    seen_on = pl.coalesce("reported_on", "sampled_on")
    seen = tests.with_columns(_seen_on=seen_on).filter(
        (pl.col("_seen_on") <= as_of) & (pl.col("point") == "supply")
    )
    owners = units.select("serial", "site", "edition", "family")
    by_serial = owners.drop("site").join(seen.select("serial", "sample"), on="serial", how="inner")
    by_site = owners.join(seen.select("site", "sample"), on="site", how="inner").drop("site")
    pairs = pl.concat([by_serial, by_site]).unique()
    numbers = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]
    tested = pairs.join(
        seen.select(*NEWEST_LAST, *numbers), on="sample", how="left", maintain_order="left"
    )
    judged = needs_of(tested, limits, values, in_words=False)  # row by row as tested
    return (
        judged.select("sample", "needs", "worst_ratio", "severity", "complete")
        .with_columns(tested.select("serial", "sampled_on", "_seen_on"))
        .hstack(ratio_classes(tested, limits))
        .with_columns(pl.col("complete").fill_null(False))
        .sort("serial", *NEWEST_LAST)
        .rename({"_seen_on": "reported_on"})
    )


def latest_profiles(judged: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    """What `profile_units` returns, from `judged_supply_tests` of these units."""
    chosen = judged.sort("complete", "sampled_on", "reported_on", "sample").unique(
        "serial", keep="last", maintain_order=True
    )
    return (
        units.select("serial")
        .join(chosen, on="serial", how="left")
        .select(
            "serial",
            water_profile=profile_word(pl.col("needs")),
            needs=pl.col("needs").fill_null(pl.lit([], dtype=pl.List(pl.String))),
            worst_ratio="worst_ratio",
            severity="severity",
            sample="sample",
            sampled_on="sampled_on",
            complete="complete",
        )
        .sort("serial")
    )


def first_tests(judged: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """When each unit's water was first sampled, and first told by a complete test.

    Args:
        judged: of `judged_supply_tests`.
        as_of: samples taken later are not seen.

    Returns:
        serial, first_sampled_on, first_complete_on (reported; null without a complete test).
    """
    taken = judged.filter(pl.col("sampled_on") <= as_of)
    return taken.group_by("serial").agg(
        first_sampled_on=pl.col("sampled_on").min(),
        first_complete_on=pl.col("reported_on").filter(pl.col("complete")).min(),
    )
