"""When the treatment that a water needs was bought, installed and no longer kept up, by unit.

Belongs here: the days on which sets of systems first include a set of needs. Does not belong here:
which systems count and when they are kept up (`pipelines.coverage.systems_held`), what a unit is
told (`treatment_recommendations`, `journeys`).
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.units.treatment_states import ABILITY_BITS, ability_mask

_FOREVER = date(9999, 12, 31)


def first_days(systems: pl.DataFrame, units: pl.DataFrame, day: str) -> pl.DataFrame:
    """The first day from which the systems of a unit together include its needs.

    Args:
        systems: serial, able (a mask of abilities), and `day`, from which each is there (null:
            never).
        units: serial, needs; one row a unit.
        day: the name of that column.

    Returns:
        serial, and `day`; only units with needs whose systems do come to include them.
    """
    there = systems.filter(pl.col(day).is_not_null())
    since = there.group_by("serial").agg(
        pl.col(day).filter((pl.col("able") & bit) > 0).min().alias(f"bit{bit}")
        for bit in ABILITY_BITS.values()
    )
    needed = units.select("serial", needed=ability_mask(pl.col("needs"))).filter(
        pl.col("needed") > 0
    )
    bits = {bit: (pl.col("needed") & bit) > 0 for bit in ABILITY_BITS.values()}
    open_still = pl.any_horizontal(
        wanted & pl.col(f"bit{bit}").is_null() for bit, wanted in bits.items()
    )
    last = pl.max_horizontal(pl.when(wanted).then(f"bit{bit}") for bit, wanted in bits.items())
    return (
        needed.join(since, on="serial")
        .filter(~open_still)
        .select("serial", last.alias(day))
        .sort("serial")
    )


def protected_to(units: pl.DataFrame, windows: pl.DataFrame) -> pl.DataFrame:
    """The last day to which a unit's needs are met day after day, from a day on.

    Args:
        units: serial, severity, needs, start (the first day that is looked at); one row a unit.
        windows: serial, severity, able, from_on, until_on (null: for ever): when each system is
            kept up in water of that severity.

    Returns:
        serial, until_on: the day before `start` where a need is not met on that day, null where
        they are met for ever; one row for each row of `units` with needs.
    """
    needed = units.select(
        "serial", "severity", "start", needed=ability_mask(pl.col("needs"))
    ).filter(pl.col("needed") > 0)
    held = (
        windows.with_columns(pl.col("until_on").fill_null(_FOREVER))
        .join(needed, on=["serial", "severity"])
        .with_columns(from_on=pl.max_horizontal("from_on", "start"))
        .filter(pl.col("until_on") >= pl.col("start"))
        .sort("serial", "from_on")
    )
    reach = [_reach(held.lazy(), needed.lazy(), bit) for bit in ABILITY_BITS.values()]
    least = pl.concat(pl.collect_all(reach)).group_by("serial").agg(pl.col("until_on").min())
    forever = pl.col("until_on") == _FOREVER
    return least.with_columns(until_on=pl.when(~forever).then("until_on")).sort("serial")


def _reach(held: pl.LazyFrame, needed: pl.LazyFrame, bit: int) -> pl.LazyFrame:
    """The last day of the run of windows, from the start on, that has one ability."""
    wanted = needed.filter((pl.col("needed") & bit) > 0)
    before = add_days(pl.col("start"), -1)
    reached = pl.col("until_on").cum_max().shift(1).over("serial")
    run = (
        held.filter(((pl.col("able") & bit) > 0) & ((pl.col("needed") & bit) > 0))
        .with_columns(reached=pl.coalesce(reached, before))
        .with_columns(broken=pl.col("from_on") > add_days(pl.col("reached"), 1))
        .filter(pl.col("broken").cum_sum().over("serial") == 0)
        .group_by("serial")
        .agg(pl.col("until_on").max())
    )
    return wanted.join(run, on="serial", how="left").select(
        "serial", until_on=pl.coalesce("until_on", before)
    )
