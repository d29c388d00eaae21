"""Reverse osmosis: what a membrane makes at a supply temperature, and whether a tank bridges it.

Belongs here: output, the balance of the storage tank, the coldest supply that still serves. Does
not belong here: what a membrane removes (`treatment`), sentences (`advice_lines`).

Only treated water counts: spray water that bypasses the membrane is no part of the feed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import polars as pl

from pipelines.water.constants import ZERO_C_IN_KELVIN
from schemas.polars_types import least

# exp[K (1/298 - 1/T)], the normalization of membrane makers' manuals; 2-35 °C, empirical.
COLD_KELVIN = 3020.0  # at or below 25 °C
WARM_KELVIN = 2640.0
RATING_C = 25.0
HOURS_A_DAY = 24
HOURS_A_WEEK = 7 * HOURS_A_DAY
COLDEST_C, WARMEST_C = 0.0, 45.0  # liquid water; the usual upper limit of a membrane


def temperature_factor(temperature_c: pl.Expr) -> pl.Expr:
    """Output relative to that at 25 °C, at the same pressure."""
    kelvin = temperature_c + ZERO_C_IN_KELVIN
    k = pl.when(temperature_c <= RATING_C).then(COLD_KELVIN).otherwise(WARM_KELVIN)
    return (k * (1.0 / (RATING_C + ZERO_C_IN_KELVIN) - 1.0 / kelvin)).exp()


def output_l_per_h(rated_l_per_h: pl.Expr, rated_c: pl.Expr, supply_c: pl.Expr) -> pl.Expr:
    """Output at a supply temperature; a rating at another temperature than 25 °C goes by way of it.

    A rating without a temperature is taken for one at 25 °C, as makers quote it.
    """
    return (
        rated_l_per_h
        * temperature_factor(supply_c)
        / temperature_factor(rated_c.fill_null(RATING_C))
    )


def hourly_demand(feed_l_per_h: float, duty_hours: float, first_fill_l: float = 0.0) -> np.ndarray:
    """Treated water drawn in each hour of a day that begins with the duty, L, shape (24,)."""
    hours = np.clip(duty_hours - np.arange(HOURS_A_DAY), 0.0, 1.0)
    demand: np.ndarray = feed_l_per_h * hours
    demand[0] += first_fill_l
    return demand


def tank_levels(output: float, demand: np.ndarray, tank_l: float, start_hour: int) -> pl.DataFrame:
    """The tank over a week, hour by hour, full at first.

    Args:
        output: treated water made an hour, L; it stops when the tank is full.
        demand: from `hourly_demand`.
        tank_l: usable volume.
        start_hour: the hour of the day (0: the duty begins) at which the week begins.

    Returns:
        hour (0-167), level_l at the hour's end, demand_l, short_l (what could not be drawn).
    """
    drawn = np.roll(np.tile(demand, 7), -start_hour)
    levels, short, level = [], [], tank_l
    for litres in drawn:  # each hour starts from the level that the last one left
        level += output - litres
        short.append(max(0.0, -level))
        level = min(max(level, 0.0), tank_l)
        levels.append(level)
    return pl.DataFrame(
        {
            "hour": np.arange(HOURS_A_WEEK),
            "level_l": levels,
            "demand_l": drawn,
            "short_l": np.round(short, 9),
        }
    )


def worst_week(output: float, demand: np.ndarray, tank_l: float) -> tuple[pl.DataFrame, int]:
    """The week and its starting hour that run short longest (then by litres, then earliest)."""
    weeks = [tank_levels(output, demand, tank_l, start) for start in range(HOURS_A_DAY)]
    worst = max(
        range(HOURS_A_DAY),
        key=lambda start: (
            (weeks[start]["short_l"] > 0).sum(),
            round(weeks[start]["short_l"].sum(), 6),
            -start,
        ),
    )
    return weeks[worst], worst


def tanks_against_duty(output: float, demand: np.ndarray, tanks_l: Sequence[float]) -> pl.DataFrame:
    """Each tank in its worst week: tank_l, short_hours, short_l, lowest_l, start_hour, serves.

    A tank serves where it never runs short and a day's output makes up a day's demand, so that it
    does not run lower from week to week either.
    """
    keeps_up = output * HOURS_A_DAY >= demand.sum()
    rows = []
    for tank in sorted(tanks_l):
        week, start = worst_week(output, demand, tank)
        short_hours = int((week["short_l"] > 0).sum())
        rows.append(
            {
                "tank_l": float(tank),
                "short_hours": short_hours,
                "short_l": float(week["short_l"].sum()),
                "lowest_l": least(week["level_l"]),
                "start_hour": start,
                "serves": bool(keeps_up and short_hours == 0),
            }
        )
    return pl.DataFrame(
        rows,
        schema={
            "tank_l": pl.Float64,
            "short_hours": pl.Int64,
            "short_l": pl.Float64,
            "lowest_l": pl.Float64,
            "start_hour": pl.Int64,
            "serves": pl.Boolean,
        },
    )


def least_output_l_per_h(demand: np.ndarray, tank_l: float) -> float:
    """The smallest hourly output with which a tank never runs short, day after day."""
    from_start = np.cumsum(demand)
    hours = np.arange(1, HOURS_A_DAY + 1)
    return max(float(demand.sum()) / HOURS_A_DAY, float(((from_start - tank_l) / hours).max()), 0.0)


def coldest_that_serves(
    rated_l_per_h: float, rated_c: float, demand: np.ndarray, tank_l: float
) -> float | None:
    """The coldest supply (°C) at which membrane and tank still serve; None above 45 °C."""
    factor_at_rating = pl.select(temperature_factor(pl.lit(rated_c))).item()
    needed = least_output_l_per_h(demand, tank_l) / rated_l_per_h * factor_at_rating
    if needed <= 0.0:
        return COLDEST_C
    k = COLD_KELVIN if needed <= 1.0 else WARM_KELVIN
    kelvin = 1.0 / (1.0 / (RATING_C + ZERO_C_IN_KELVIN) - math.log(needed) / k)
    celsius = kelvin - ZERO_C_IN_KELVIN
    return None if celsius > WARMEST_C else max(celsius, COLDEST_C)


def membranes_in_the_cold(
    units: pl.DataFrame,
    fitted: pl.DataFrame,
    treatments: pl.DataFrame,
    regions: pl.DataFrame,
    *,
    duty_hours_per_day: float,
    tanks_l: Sequence[float],
) -> pl.DataFrame:
    """Whether the reverse osmosis of each unit keeps up in its region's coldest month.

    Args:
        units: serial, region, feed_l_per_h.
        fitted: serial, product: the systems installed; several membranes add up.
        treatments: the reference file.
        regions: the reference file.
        duty_hours_per_day: setting.
        tanks_l: setting, the tanks that the maker sells.

    Returns:
        One row a unit that has reverse osmosis, by serial: serial, coldest_supply_c,
        output_l_per_day, demand_l_per_day, tank_l (the smallest that serves, null where none
        does), keeps_up (with the largest tank; null where a temperature or rating is missing).
    """
    rated = treatments.filter(pl.col("rated_output_l_per_h").is_not_null())
    place = units.select("serial", "region", "feed_l_per_h").join(
        regions.select("region", "coldest_supply_c"), on="region", how="left"
    )
    made = (
        fitted.select("serial", "product")
        .unique()
        .join(rated, on="product")
        .join(place, on="serial")
        .with_columns(
            output=output_l_per_h(
                pl.col("rated_output_l_per_h"),
                pl.col("rated_temperature_c"),
                pl.col("coldest_supply_c"),
            )
        )
        .sort("serial", "product")
        .group_by("serial", maintain_order=True)
        .agg(pl.col("coldest_supply_c", "feed_l_per_h").first(), pl.col("output").sum())
    )
    demand = duty_hours_per_day * pl.col("feed_l_per_h")
    daily = pl.col("output") * HOURS_A_DAY
    whole = math.floor(duty_hours_per_day)
    part = duty_hours_per_day - whole
    # What the tank must give by the end of the duty: the same balance, in one step.
    through_whole = whole * (pl.col("feed_l_per_h") - pl.col("output"))
    drawdown = pl.max_horizontal(
        0.0, through_whole, through_whole + part * pl.col("feed_l_per_h") - pl.col("output")
    )
    smallest = pl.lit(None, pl.Float64)
    for tank in sorted(tanks_l, reverse=True):
        smallest = pl.when(drawdown <= tank).then(float(tank)).otherwise(smallest)
    known = pl.col("coldest_supply_c").is_not_null() & pl.col("feed_l_per_h").is_not_null()
    return made.select(
        "serial",
        "coldest_supply_c",
        output_l_per_day=pl.when(known).then(daily),
        demand_l_per_day=demand,
        tank_l=pl.when(known & (daily >= demand)).then(smallest),
        keeps_up=pl.when(known).then((daily >= demand) & smallest.is_not_null()),
    )
