# ruff: noqa: RUF009 - `_empty` makes the default factory of a field
"""What every figure is computed from: units with their exposure, failures inside it, states.

Belongs here: one frozen bundle of frames, what figures ask besides. Does not belong
here: how it is put together (`preparation`) or narrowed (`narrowing`), any figure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from threading import RLock
from typing import Any, TypeVar

import polars as pl

from schemas import codes

Made = TypeVar("Made")
UNIT_DIMENSIONS = ("family", "region", "profile", "startup")
# Every frame carries it, the same in all rows, so that also the whole fleet is a group by a key.
FLEET = "fleet"
# What `prepare` needs of a unit besides its serial.
HISTORY_COLUMNS = (
    "family",
    "region",
    "water_profile",
    "startup_completed_on",
    "extended_on",
    "watched_from",
    "watched_until",
    "watched_days",
    "clock_source",
    "unsound",
    "coverage_base_end",
    "coverage_end",
    "retired_on",
    "shipped_on",
    "model",
    "cold_supply",
    "entry",
    "shipped",
    "lot",
    "needs",
    "clock_start",
)
UNKNOWN = "unknown"
REPAIRS = pl.Schema(
    {
        "call": pl.String(),
        "claim": pl.String(),
        "serial": pl.String(),
        "family": pl.String(),
        "agency": pl.String(),
        "cause": pl.String(),
        "cause_class": pl.String(),
        "failed_on": pl.Date(),
        "completed_on": pl.Date(),
        "inside": pl.Boolean(),
        "watched_until": pl.Date(),
        "workmanship_days": pl.Int64(),
        "labor_hours": pl.Float64(),
        "travel_amount": pl.Float64(),
        "verdict": pl.String(),
    }
)


WATERS = pl.Schema(
    {
        "unit": pl.UInt32(),
        "serial": pl.String(),
        "site": pl.String(),
        FLEET: pl.Int8(),
        **dict.fromkeys(UNIT_DIMENSIONS, pl.String()),
        "entry": pl.Int64(),
        "exit": pl.Int64(),
        "needs": pl.String(),
    }
)


def no_repairs() -> pl.DataFrame:
    """The frame of repairs without a row."""
    return pl.DataFrame(schema=REPAIRS)


def _empty(schema: dict[str, pl.DataType | type[pl.DataType]]) -> pl.DataFrame:
    return field(default_factory=lambda: pl.DataFrame(schema=schema))


@dataclass(frozen=True)
class Grounds:
    """What figures ask of the reference files, the terms and the water tests.

    causes: cause, class, water_related, abilities. limits: family, analyte, limit (a maximum),
    needs, of the family's newest edition. needing: families that need treatment. systems: each
    system with what it removes. samples: sample,
    each limited analyte and its bound `..._below`. pages: claim, page. arrived_calls,
    arrived_units: when each was first read. settled: of `pending.settled_claims`.
    """

    causes: pl.DataFrame = _empty(
        {
            "cause": pl.String,
            "class": pl.String,
            "water_related": pl.Boolean,
            "abilities": pl.List(pl.String),
        }
    )
    limits: pl.DataFrame = _empty(
        {"family": pl.String, "analyte": pl.String, "limit": pl.Float64, "needs": pl.String}
    )
    needing: tuple[str, ...] = ()
    systems: tuple[tuple[str, tuple[str, ...]], ...] = ()
    samples: pl.DataFrame = _empty(
        {
            "sample": pl.String,
            **{
                f"{name}{end}": pl.Float64
                for name in codes.LIMITED_ANALYTES
                for end in ("", "_below")
            },
        }
    )
    pages: pl.DataFrame = _empty({"claim": pl.String, "page": pl.String})
    arrived_calls: pl.DataFrame = _empty({"call": pl.String, "arrived_on": pl.Date})
    arrived_units: pl.DataFrame = _empty({"serial": pl.String, "arrived_on": pl.Date})
    settled: pl.DataFrame = _empty(
        {"lead_reason": pl.String, "decided": pl.Int64, "covered": pl.Int64}
    )


@dataclass(frozen=True)
class FieldContext:
    """Frames behind the figures; `prepare` builds one.

    Each has the constant column `fleet` besides, and `unit`, the unit's place in `units`.

    units: one row a unit: serial, family, region, profile, startup, watched_from, watched_until
        (null where never watched), watched_days, clock_source, unsound, coverage_base_end,
        coverage_end, extended_on, retired_on, shipped_on, site (or the serial where there is none),
        profile_needs (what the test behind its profile needs, joined by `+`), and the other
        dimensions of a unit.
    failures: one row a failure inside the exposure: call, claim, serial, failed_on, age, cause,
        part, cause_class, water_related, opened_on, claimed_on, agency, labor_hours, parts, labor,
        travel (payable, Decimal), and sample and all dimensions with their values on that day.
    states: one row a stretch of one treatment state inside the exposure: serial, family, region,
        profile, startup, treatment, entry, exit (ages, half-open), last (the exposure ends).
    doubtful: one row a unit left out for its clock start: serial, region, unsound, days and
        failures had it been watched from its shipment.
    before: failures before `since`, with the columns of `failures`: a unit that had one is no
        longer at risk of a first one.
    as_of: the day up to which all of it is known.
    spans: one row a stretch of the exposure (`pipelines.units.watch_spans`): unit, serial, from_on,
        until_on, entry, exit (ages, half-open), last (the exposure ends), sample, needs, severity,
        treatment, product.
    by_day: the spans are some of the exposure, so that a unit may have several stretches.
    grounds: what limits, causes and samples say, for the figures that ask.
    waters: one row a stretch of the exposure under one water test in force: unit, serial, site (or
        the serial where there is none), fleet, family, region, profile, startup, entry, exit (ages,
        half-open), needs, and the columns `ratio_…` of `pipelines.units.water_of_days`.
    repairs: one row a repair call with the columns of REPAIRS, claimed or not, in the exposure
        (`inside`: it counts among the failures) or past it; the verdict is its claim's.
    since, until: the stretch of the calendar [since, until) that is looked at; None: all of it.
    chosen: the cause classes that it was narrowed to; none: all.
    competing: the same with the failures of all classes, where it was narrowed to some.
    """

    units: pl.DataFrame
    failures: pl.DataFrame
    states: pl.DataFrame
    doubtful: pl.DataFrame
    before: pl.DataFrame
    as_of: date
    since: date | None = None
    until: date | None = None
    repairs: pl.DataFrame = field(default_factory=no_repairs)
    chosen: tuple[str, ...] = ()
    competing: FieldContext | None = None
    waters: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=WATERS))
    spans: pl.DataFrame = field(default_factory=pl.DataFrame)
    by_day: bool = False
    grounds: Grounds = field(default_factory=lambda: Grounds())
    _known: dict[object, Any] = field(default_factory=dict, init=False, repr=False)
    _making: dict[object, RLock] = field(default_factory=dict, init=False, repr=False)

    def once(self, key: object, make: Callable[[], Made]) -> Made:
        """What several figures need of this context, made by the first that asks."""
        with self._making.setdefault(key, RLock()):
            if key not in self._known:
                self._known[key] = make()
        made: Made = self._known[key]
        return made

    @cached_property
    def classes(self) -> list[str]:
        """The cause classes that occur or were chosen, in the order of the code list.

        `unknown` where there are none, so that a fleet without failures has its rows too.
        """
        seen = {*self.failures["cause_class"].unique(), *self.chosen}
        return [name for name in (*codes.CAUSE_CLASSES, UNKNOWN) if name in seen] or [UNKNOWN]
