"""Fleets of known truth: what they will come to is drawn along with what is known so far.

Belongs here: simulating units, failures and reports. Does not belong here: what is expected of the
figures (the tests and benchmarks that draw them).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.preparation import prepare

FAMILIES = ("Beck", "Force")
NEEDS = ("none", "scale")
# Failures a unit-year by family and needs; the first six months count half as much again.
RATES = {
    ("Beck", "none"): 0.3,
    ("Beck", "scale"): 0.6,
    ("Force", "none"): 0.5,
    ("Force", "scale"): 1.0,
}
COVER = {"Beck": 730, "Force": 1096}
HORIZON = 365


@dataclass(frozen=True)
class Drawn:
    """A fleet as known on its as-of day, and what comes in the twelve months after it."""

    context: FieldContext
    to_come: dict[str, int]
    whole: FieldContext


def drawn(
    seed: int,
    *,
    shipped_a_month: float = 20.0,
    growth: float = 0.0,
    trend: float = 0.0,
    as_of: dt.date = dt.date(2025, 12, 31),
    months: int = 48,
    late: float = 0.1,
) -> Drawn:
    """Units shipped over so many months before the as-of day and a year beyond.

    growth, trend: of shipments and of rates, a year, on the log scale. late: chance a day of a
    report; 1: at once. `whole`: the same fleet as known a year later.
    """
    random = np.random.default_rng([2027, seed])
    today = np.datetime64(as_of, "D")
    first = (today.astype("datetime64[M]") - months + 1).astype("datetime64[D]").astype(int)
    last = int(today.astype(int)) + HORIZON + 40
    days = np.arange(first, last)
    level = shipped_a_month / 30.4375 * np.exp(growth * (days - days[-1]) / 365.25)
    shipped = np.repeat(days, random.poisson(level))
    units = len(shipped)
    start = shipped + random.integers(0, 60, units)
    family, needs = random.integers(0, 2, units), random.integers(0, 2, units)
    cover = np.array([COVER[name] for name in FAMILIES])[family]
    rate = np.array([[RATES[f, n] for n in NEEDS] for f in FAMILIES])[family, needs]
    owner, age = _failures(random, rate, cover)
    day = start[owner] + age
    held = np.exp(np.minimum(trend * (day - int(today.astype(int))) / 365.25, 0.0))
    kept = random.random(len(owner)) * max(1.0, float(np.exp(-trend * 4))) < held
    owner, age, day = owner[kept], age[kept], day[kept]
    opened = day + random.geometric(late, len(day)) - 1
    told = _Told(shipped, start, cover, family, needs, owner, age, day, opened)
    now = int(today.astype(int))
    coming = (day > now.__index__()) & (day <= now + HORIZON)
    out = shipped[owner] <= now
    counts = {
        "installed": int((coming & out).sum()),
        "sales": int((coming & ~out).sum()),
        "all": int(coming.sum()),
    }
    return Drawn(told.known(as_of), counts, told.known(as_of + dt.timedelta(days=HORIZON)))


def _failures(
    random: np.random.Generator, rate: np.ndarray, cover: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Owner and age of each failure; in the first 183 days half as many again."""
    early = rate * 1.5 * 183 / 365.25
    later = rate * (cover - 183) / 365.25
    counts = random.poisson(early), random.poisson(later)
    owners = [np.repeat(np.arange(len(rate)), count) for count in counts]
    ages = [
        random.integers(0, 183, len(owners[0])),
        183 + (random.random(len(owners[1])) * (cover - 183)[owners[1]]).astype(int),
    ]
    return np.concatenate(owners), np.concatenate(ages)


@dataclass(frozen=True)
class _Told:
    shipped: np.ndarray
    start: np.ndarray
    cover: np.ndarray
    family: np.ndarray
    needs: np.ndarray
    owner: np.ndarray
    age: np.ndarray
    day: np.ndarray
    opened: np.ndarray

    def known(self, as_of: dt.date) -> FieldContext:
        """The fleet as known on a day."""
        today = int(np.datetime64(as_of, "D").astype(int))
        out = self.shipped <= today
        place = np.where(out, np.cumsum(out) - 1, -1)
        until = np.minimum(self.start + self.cover, today + 1)
        watched = out & (self.start <= today)
        units = pl.DataFrame(
            {
                "serial": [f"U{n:06d}" for n in range(int(out.sum()))],
                "family": np.array(FAMILIES)[self.family[out]],
                "shipped_on": self.shipped[out],
                "clock_start": self.start[out],
                "coverage_base_end": (self.start + self.cover)[out],
                "watched_from": np.where(watched, self.start, -(10**6))[out],
                "watched_until": np.where(watched, until, -(10**6))[out],
                "watched_days": np.where(watched, until - self.start, 0)[out].astype(np.int64),
                "_needs": np.array(NEEDS)[self.needs[out]],
            }
        ).with_columns(
            *(pl.col(name).cast(pl.Int32).cast(pl.Date) for name in _DAYS[:3]),
            *(
                pl.when(pl.col("watched_days") > 0).then(pl.col(name).cast(pl.Int32).cast(pl.Date))
                for name in _DAYS[3:]
            ),
            region=pl.when(pl.int_range(pl.len()) % 3 == 0)
            .then(pl.lit("US-ME"))
            .otherwise(pl.lit("US-OR")),
            water_profile=pl.when(pl.col("_needs") == "none")
            .then(pl.lit("within limits"))
            .otherwise(pl.lit("scale-forming")),
            needs=pl.when(pl.col("_needs") == "none")
            .then(pl.lit([], pl.List(pl.String)))
            .otherwise(pl.concat_list("_needs")),
            clock_source=pl.lit("installed_on"),
            coverage_end="coverage_base_end",
            **dict.fromkeys(
                ("extended_on", "retired_on", "startup_completed_on"), pl.lit(None, pl.Date)
            ),
            unsound=pl.lit(None, pl.String),
        )
        units = units.with_columns(coverage_end=pl.col("coverage_base_end"))
        seen = out[self.owner] & (self.day <= today) & (self.opened <= today)
        seen &= self.age < (until - self.start)[self.owner]
        failures = self._frame(units, place[self.owner[seen]], seen)
        inside = units.filter(pl.col("watched_days") > 0)
        doubtful = {
            **dict.fromkeys(("serial", "unsound"), pl.String),
            **dict.fromkeys(("days", "failures"), pl.Int64),
        }
        payable = failures.select(
            "claim",
            **{
                f"{line}_payable": pl.lit(Decimal("50.00"), pl.Decimal(18, 2))
                for line in ("parts", "labor", "travel")
            },
        )
        return prepare(
            units.drop("_needs"),
            failures,
            payable,
            inside.select(
                "serial",
                from_day="watched_from",
                until_day="watched_until",
                state=pl.when(pl.col("_needs") == "none")
                .then(pl.lit("not needed"))
                .otherwise(pl.lit("untreated")),
            ),
            pl.DataFrame(schema=doubtful),
            as_of,
            inside.select(
                "serial",
                from_on="watched_from",
                until_on="watched_until",
                sample=pl.lit(None, pl.String),
                severity=pl.lit("normal"),
                needs="_needs",
            ),
        )

    def _frame(self, units: pl.DataFrame, owner: np.ndarray, seen: np.ndarray) -> pl.DataFrame:
        scale = self.needs[self.owner[seen]] == 1
        days = {
            name: pl.Series(values[seen]).cast(pl.Int32).cast(pl.Date)
            for name, values in (("failed_on", self.day), ("opened_on", self.opened))
        }
        return pl.DataFrame(
            {
                "serial": units["serial"].gather(owner),
                **days,
                "age": self.age[seen].astype(np.int64),
                "cause_class": np.where(scale, "scale", "electrical"),
                "water_related": scale,
            }
        ).with_columns(
            call=pl.format("C{}", pl.int_range(pl.len())),
            claim=pl.format("W{}", pl.int_range(pl.len())),
            cause=pl.col("cause_class").str.to_uppercase(),
            claimed_on=pl.lit(None, pl.Date),
            agency=pl.lit("A"),
            labor_hours=pl.lit(None, pl.Float64),
        )


_DAYS = ("shipped_on", "clock_start", "coverage_base_end", "watched_from", "watched_until")
