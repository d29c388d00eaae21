"""Times every field figure, in all the slices that are always there, for a large made-up fleet.

Run: python tests/benchmarks/field_million.py [UNITS]   (default 1,000,000 units, about 1.5 failures
a unit). It is no test: it prints seconds and rows for each figure.
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parents[2]))

from pipelines.field.context import FieldContext
from pipelines.field.figures import FIGURES, always
from pipelines.field.preparation import prepare
from schemas import codes

AS_OF = dt.date(2025, 10, 31)
PROFILES = ["within limits", "scale-forming", "chloride", "silica", "chlorine", "mixed", "untested"]


def made_up(units: int, seed: int = 7) -> FieldContext:
    """A fleet sold over five years, failing by water and state of treatment."""
    random = np.random.default_rng(seed)
    start = np.datetime64("2020-11-01") + random.integers(0, 1800, units)
    until = np.minimum(
        start + random.choice([365, 548, 730, 1096], units), np.datetime64(AS_OF) + 1
    )
    days = (until - start).astype(int)
    profile = random.integers(0, len(PROFILES), units)
    frame = pl.DataFrame(
        {
            "serial": np.char.add("U", np.arange(units).astype(str)),
            "family": np.array(["Skerry", "Beck", "Force", "Linn"])[random.integers(0, 4, units)],
            "region": np.char.add("US-", random.integers(10, 60, units).astype(str)),
            "water_profile": np.array(PROFILES)[profile],
            "watched_from": start,
            "watched_until": until,
            "watched_days": days.astype(np.int64),
            "coverage_end": start + 1096,
            "startup_completed_on": np.where(
                random.random(units) < 0.6, start, np.datetime64("NaT", "D")
            ),
        }
    ).with_columns(
        coverage_base_end="coverage_end",
        extended_on=pl.lit(None, pl.Date),
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit(None, pl.String),
        retired_on=pl.lit(None, pl.Date),
        shipped_on="watched_from",
    )
    states, hazard = _states(random, start, until, days, profile, frame["serial"])
    failures = _failures(random, start, days, hazard, frame["serial"])
    payable = failures.select(
        "claim",
        parts_payable=pl.lit(120).cast(pl.Decimal(18, 2)),
        labor_payable=pl.lit(90).cast(pl.Decimal(18, 2)),
        travel_payable=pl.lit(30).cast(pl.Decimal(18, 2)),
    )
    doubtful = pl.DataFrame(
        schema={"serial": pl.String, "unsound": pl.String, "days": pl.Int64, "failures": pl.Int64}
    )
    return prepare(frame, failures, payable, states, doubtful, AS_OF)


def _states(random, start, until, days, profile, serials) -> tuple[pl.DataFrame, np.ndarray]:
    """Most units in needy water are treated some time in; returns the stretches and a hazard."""
    steady = np.where(profile == 0, "not needed", np.where(profile == 6, "untested", "untreated"))
    switch = start + (random.random(len(start)) * days).astype(int)
    treated = (steady == "untreated") & (random.random(len(start)) < 0.7)
    first = pl.DataFrame(
        {
            "serial": serials,
            "from_day": start,
            "until_day": np.where(treated, switch, until),
            "state": steady,
        }
    )
    second = pl.DataFrame(
        {
            "serial": serials,
            "from_day": switch,
            "until_day": until,
            "state": ["treated"] * len(start),
        }
    ).filter(pl.Series(treated))
    states = pl.concat([first, second]).filter(pl.col("from_day") < pl.col("until_day"))
    return states, np.where(treated, 0.6, 1.2)


def _failures(random, start, days, hazard, serials) -> pl.DataFrame:
    count = random.poisson(hazard * days / 365.25)
    unit = np.repeat(np.arange(len(start)), count)
    age = (random.random(len(unit)) * days[unit]).astype(int)
    failed = start[unit] + age
    opened = np.minimum(failed + random.geometric(0.2, len(unit)) - 1, np.datetime64(AS_OF))
    kind = random.integers(0, len(codes.CAUSE_CLASSES), len(unit))
    call = np.char.add("C", np.arange(len(unit)).astype(str))
    return pl.DataFrame(
        {
            "call": call,
            "claim": call,
            "serial": serials.gather(unit),
            "failed_on": failed,
            "age": age.astype(np.int64),
            "cause": np.array(codes.CAUSE_CLASSES)[kind],
            "cause_class": np.array(codes.CAUSE_CLASSES)[kind],
            "water_related": kind < 5,
            "opened_on": opened,
            "claimed_on": opened + 10,
            "agency": np.char.add("A", random.integers(0, 200, len(unit)).astype(str)),
        }
    ).with_columns(labor_hours=pl.lit("1.5").cast(pl.Decimal(18, 10)))


def main() -> None:
    """Prints how long each figure takes."""
    context = made_up(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
    print(f"{context.units.height:,} units, {context.failures.height:,} failures")
    for name in FIGURES:
        begun, spent = time.perf_counter(), time.process_time()
        table = always(context, name)
        wall, cpu = time.perf_counter() - begun, time.process_time() - spent
        print(f"{name:18} {wall:7.2f} s {cpu:7.2f} s of processor {table.height:9,} rows")


if __name__ == "__main__":
    main()
