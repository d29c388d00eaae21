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
_MORE_THAN_DAYS = 10_000_000  # than there are between any two dates
# The places of the bits of each set of abilities: mask, place.
_PLACES = pl.DataFrame(
    [
        (mask, place)
        for mask in range(1, 1 << len(ABILITY_BITS))
        for place in range(len(ABILITY_BITS))
        if mask >> place & 1
    ],
    schema={"mask": pl.Int64, "place": pl.Int64},
    orient="row",
)


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
    needed = (
        units.select("serial", "severity", "start", mask=ability_mask(pl.col("needs")))
        .filter(pl.col("mask") > 0)
        .with_row_index("unit")
    )
    wanted = needed.join(_PLACES, on="mask").select(
        "unit", need=_need(), until_on=add_days(pl.col("start"), -1)
    )
    held = (
        windows.join(needed, on=["serial", "severity"])
        .with_columns(
            mask=pl.col("mask") & pl.col("able"),
            until_on=pl.col("until_on").fill_null(_FOREVER),
            from_on=pl.max_horizontal("from_on", "start"),
        )
        .filter(pl.col("until_on") >= pl.col("start"))
        .join(_PLACES, on="mask")
        .select("start", "from_on", "until_on", need=_need())
    )
    forever = pl.col("until_on") == _FOREVER
    return (
        wanted.join(_runs(held), on="need", how="left")
        .group_by("unit")
        .agg(until_on=pl.coalesce("run_until", "until_on").min())
        .join(needed.select("unit", "serial"), on="unit")
        .select("serial", until_on=pl.when(~forever).then("until_on"))
        .sort("serial")
    )


def _need() -> pl.Expr:
    """One number for a unit and an ability that it needs."""
    return pl.col("unit").cast(pl.Int64) * len(ABILITY_BITS) + pl.col("place")


def _runs(held: pl.DataFrame) -> pl.DataFrame:
    """How far windows reach that follow each other without a gap, from the start on.

    Args:
        held: need, start, from_on (no earlier than the start), until_on.

    Returns:
        need, run_until; only needs that are met on the day of the start.
    """
    need, until = pl.col("need"), pl.col("until_on").cast(pl.Int64)
    is_first = need.ne_missing(need.shift(1))
    # Needs rise, so that the greatest so far of both together is the greatest of the need.
    reached = (need * _MORE_THAN_DAYS + until).cum_max().shift(1) - need * _MORE_THAN_DAYS
    before = pl.col("start").cast(pl.Int64) - 1
    gap = pl.col("from_on").cast(pl.Int64) > 1 + pl.when(is_first).then(before).otherwise(reached)
    gaps = pl.col("gap").cum_sum()
    earlier = pl.when(is_first).then(gaps.shift(1, fill_value=0)).forward_fill()
    return (
        held.sort("need", "from_on")
        .with_columns(gap=gap)
        .filter(gaps == earlier)
        .group_by("need")
        .agg(run_until=pl.col("until_on").max())
    )
