"""A made-up fleet with every dimension, repeat failures, late reports and changing treatment."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal

import numpy as np
import polars as pl
import pytest

from pipelines.field.context import FieldContext
from pipelines.field.preparation import prepare

AS_OF = dt.date(2025, 10, 31)
PROFILES = ["within limits", "scale-forming", "chloride", "untested"]
NEEDS: list[list[str]] = [[], ["scale"], ["chloride"], []]
CLASSES = {"scale": True, "chlorine": True, "electrical": False, "unknown": False}


def made_up(units: int = 300, seed: int = 1, *, rate: float = 1.0) -> FieldContext:
    """Units sold over three years; `rate` failures a unit-year, twice as many in hard water."""
    random = np.random.default_rng(seed)
    start = np.datetime64("2022-11-01") + random.integers(0, 1080, units)
    cover = start + random.choice([548, 1096], units)
    until = np.minimum(cover, np.datetime64(AS_OF) + 1)
    days = (until - start).astype(int)
    profile = random.integers(0, len(PROFILES), units)
    frame = pl.DataFrame(
        {
            "serial": [f"U{place:05d}" for place in random.permutation(units)],
            "family": random.choice(["Skerry", "Beck"], units),
            "region": random.choice(["US-OR", "US-ME", "US-TX"], units),
            "water_profile": np.array(PROFILES)[profile],
            "watched_from": start,
            "watched_until": until,
            "watched_days": days.astype(np.int64),
            "coverage_base_end": cover,
            "coverage_end": cover,
            "shipped_on": start - 30,
            "clock_source": random.choice(["installed_on", "shipped_on"], units, p=[0.8, 0.2]),
            "startup_completed_on": np.where(
                random.random(units) < 0.5, start, np.datetime64("NaT", "D")
            ),
        }
    ).with_columns(
        unsound=pl.lit(None, pl.String),
        needs=pl.Series([NEEDS[place] for place in profile], dtype=pl.List(pl.String)),
        retired_on=pl.lit(None, pl.Date),
        extended_on=pl.lit(None, pl.Date),
    )
    hazard = rate * np.where(profile == 1, 2.0, 1.0)
    failures = _failures(random, frame, hazard * days / 365.25)
    payable = failures.select(
        "claim",
        parts_payable=pl.lit(Decimal("100.10"), pl.Decimal(18, 2)),
        labor_payable=pl.lit(Decimal("50.00"), pl.Decimal(18, 2)),
        travel_payable=pl.lit(Decimal("0.05"), pl.Decimal(18, 2)),
    )
    doubtful = pl.DataFrame(
        schema={"serial": pl.String, "unsound": pl.String, "days": pl.Int64, "failures": pl.Int64}
    )
    return prepare(frame, failures, payable, _states(random, frame), doubtful, AS_OF)


def _failures(
    random: np.random.Generator, frame: pl.DataFrame, expected: np.ndarray
) -> pl.DataFrame:
    count = random.poisson(expected)
    owner = np.repeat(np.arange(frame.height), count)
    age = (random.random(len(owner)) * frame["watched_days"].to_numpy()[owner]).astype(int)
    word = random.choice(list(CLASSES), len(owner))
    drawn = (
        frame[owner]
        .select("serial", failed_on="watched_from")
        .with_columns(
            failed_on=pl.col("failed_on") + pl.duration(days=pl.Series(age)),
            age=pl.Series(age, dtype=pl.Int64),
            late=pl.Series(random.geometric(0.1, len(owner)) - 1),
            cause_class=pl.Series(word, dtype=pl.String),
        )
    )
    reported = drawn.with_columns(opened_on=pl.col("failed_on") + pl.duration(days="late"))
    return reported.filter(pl.col("opened_on") <= AS_OF).select(
        call=pl.format("C{}", pl.int_range(pl.len())),
        claim=pl.format("W{}", pl.int_range(pl.len())),
        serial="serial",
        failed_on="failed_on",
        age="age",
        cause=pl.col("cause_class").str.to_uppercase(),
        cause_class="cause_class",
        water_related=pl.col("cause_class").replace_strict(CLASSES, return_dtype=pl.Boolean),
        opened_on="opened_on",
        claimed_on=pl.when(pl.int_range(pl.len()) % 3 > 0).then("opened_on"),
        agency=pl.format("A{}", pl.int_range(pl.len()) % 4),
        labor_hours=pl.lit(Decimal("1.5"), pl.Decimal(18, 10)),
    )


def _states(random: np.random.Generator, frame: pl.DataFrame) -> pl.DataFrame:
    """Untreated, then treated, then lapsed, each change at a day drawn for the unit."""
    days = frame["watched_days"].to_numpy()
    first = (random.random(frame.height) * 0.6 * days).astype(int)
    second = (first + (0.2 + random.random(frame.height)) * days).astype(int)
    bounds = [np.zeros(frame.height, int), np.minimum(first, days), np.minimum(second, days), days]
    parts = [
        frame.select(
            "serial",
            from_day=pl.col("watched_from") + pl.duration(days=pl.Series(begin)),
            until_day=pl.col("watched_from") + pl.duration(days=pl.Series(end)),
            state=pl.lit(state),
        ).filter(pl.Series(begin < end))
        for state, begin, end in zip(
            ("untreated", "treated", "lapsed"), bounds[:-1], bounds[1:], strict=True
        )
    ]
    return pl.concat(parts).sort("serial", "from_day")


@pytest.fixture(scope="session")
def make_fleet() -> Callable[..., FieldContext]:
    """The function that makes a fleet up."""
    return made_up


@pytest.fixture(scope="session")
def context(make_fleet: Callable[..., FieldContext]) -> FieldContext:
    """One made-up fleet of 300 units."""
    return make_fleet()
