"""Unit-days by any dimensions of unit and day, in numbers.

Belongs here: stretches of days split wherever a dimension changes. Does not belong here: what the
dimensions are (`dimensions`), sums by unit and group (`placed_days`), rates of what comes out.

Words are numbered once for all sums, since comparing them is most of what grouping by them costs;
and no stretch is split at each month: how many days of a season lie before a day is looked up.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import (
    BAND_STARTS,
    BANDS,
    OF_CALENDAR,
    OF_DAY,
    OF_UNIT,
    need_of,
    season_of,
)
from pipelines.field.placed_days import Coded, Placed, coded, placed

_NO_END = 10**6


class Stretches(NamedTuple):
    """Parts of spans: the place of the span, and its first age and the age that ends it."""

    span: np.ndarray
    entry: np.ndarray
    exit: np.ndarray


class UnitDays:
    """The stretches of some days, numbered once for all groups that they are put in."""

    def __init__(self, spans: pl.DataFrame, units: pl.DataFrame) -> None:
        """`spans` of `FieldContext.spans`; `units`: unit and its dimensions."""
        self._spans, self._units = spans, units
        self._words: dict[str, Coded] = {}

    def by(self, dims: Sequence[str]) -> Placed:
        """The days by dimensions of OF_UNIT and OF_DAY; with `need`, a day in each of its needs."""
        calendar = tuple(name for name in dims if name in OF_CALENDAR)
        parts = self.banded if "age" in dims else self._whole
        codes = []
        if calendar:
            parts, of_day = self._by_calendar(parts, calendar)
            codes.append(of_day)
        if "age" in dims:
            band = np.searchsorted(BAND_STARTS, parts.entry, "right") - 1
            codes.append(Coded(band, pl.DataFrame({"age": BANDS})))
        unit, days = self.unit_of(parts), parts.exit - parts.entry
        for name in dims:
            if name in OF_UNIT:
                own = self.of_unit(name)
                codes.append(Coded(own.code[unit], own.words))
            elif name in OF_DAY and name not in (*OF_CALENDAR, "age", "need"):
                own = self.of_span(name)
                codes.append(Coded(own.code[parts.span], own.words))
        if "need" in dims:
            row, need = self._needs(parts.span)
            unit, days = unit[row], days[row]
            codes = [need, *(Coded(own.code[row], own.words) for own in codes)]
        return placed(unit, days, codes, len(unit), dims)

    @cached_property
    def _unit(self) -> np.ndarray:
        unit: np.ndarray = self._spans["unit"].cast(pl.Int64).to_numpy()
        return unit

    @cached_property
    def _whole(self) -> Stretches:
        entry, last = (self._spans[name].cast(pl.Int64).to_numpy() for name in ("entry", "exit"))
        return Stretches(np.arange(len(entry)), entry, last)

    @cached_property
    def banded(self) -> Stretches:
        """The spans split at each band of age."""
        parts = []
        for start, end in zip(BAND_STARTS, (*BAND_STARTS[1:], _NO_END), strict=True):
            entry, last = np.maximum(self._whole.entry, start), np.minimum(self._whole.exit, end)
            some = np.flatnonzero(entry < last)
            parts.append(Stretches(some, entry[some], last[some]))
        return Stretches(*(np.concatenate(part) for part in zip(*parts, strict=True)))

    def unit_of(self, parts: Stretches) -> np.ndarray:
        """The unit of each."""
        unit: np.ndarray = self._unit[parts.span]
        return unit

    def days_from(self, parts: Stretches) -> np.ndarray:
        """The first day of stretches, as days since 1970."""
        begun = self._spans["from_on"].cast(pl.Int64).to_numpy()[parts.span]
        first: np.ndarray = begun + parts.entry - self._whole.entry[parts.span]
        return first

    def _by_calendar(self, parts: Stretches, names: tuple[str, ...]) -> tuple[Stretches, Coded]:
        """The stretches split by what the calendar says of their days: so many days of each.

        What comes out of one stretch stands at its first ages, since only how long it is counts.
        """
        begun = self.days_from(parts)
        first, days = int(begun.min(initial=0)), parts.exit - parts.entry
        begun = begun - first
        every = np.arange(int((begun + days).max(initial=0))) + first
        day = pl.col("day").cast(pl.Date)
        said = {"season": season_of(day), "month_of_year": day.dt.strftime("%m")}
        said["year"] = day.dt.strftime("%Y")
        of_day = coded(
            pl.DataFrame({"day": every.astype(np.int32)}).select(
                **{name: said[name] for name in names}
            )
        )
        split, codes = [], []
        for code in range(of_day.words.height):
            before = np.append(0, np.cumsum(of_day.code == code))
            count = before[begun + days] - before[begun]
            some = np.flatnonzero(count)
            entry = parts.entry[some]
            split.append(Stretches(parts.span[some], entry, entry + count[some]))
            codes.append(np.full(len(some), code))
        nothing = np.zeros(0, np.int64)
        if not split:
            return Stretches(nothing, nothing, nothing), Coded(nothing, of_day.words)
        whole = Stretches(*(np.concatenate(part) for part in zip(*split, strict=True)))
        return whole, Coded(np.concatenate(codes), of_day.words)

    def of_span(self, name: str) -> Coded:
        """A column of the spans."""
        if name not in self._words:
            self._words[name] = coded(self._spans.select(name))
        return self._words[name]

    def of_unit(self, name: str) -> Coded:
        """A dimension of units, by number of the unit."""
        if name not in self._words:
            own = coded(self._units.select(name))
            unit = self._units["unit"].cast(pl.Int64).to_numpy()
            code = np.zeros(int(max(unit.max(initial=-1), self._unit.max(initial=-1))) + 1, int)
            code[unit] = own.code
            self._words[name] = Coded(code, own.words)
        return self._words[name]

    def _needs(self, span: np.ndarray) -> tuple[np.ndarray, Coded]:
        """Places of stretches, once for each of their needs, and the need of each."""
        sets = self.of_span("needs")
        lists = sets.words.select(need=need_of(pl.col("needs")))
        each = coded(lists.explode("need"))
        sizes = lists["need"].list.len().fill_null(1).to_numpy().astype(np.int64)
        first = np.cumsum(sizes) - sizes
        code = sets.code[span]
        row = np.repeat(np.arange(len(span)), sizes[code])
        nth = np.arange(len(row)) - np.repeat(np.cumsum(sizes[code]) - sizes[code], sizes[code])
        return row, Coded(each.code[first[code[row]] + nth], each.words)


def unit_days(context: FieldContext) -> UnitDays:
    """The days of a context."""
    return context.once("unit days", lambda: UnitDays(context.spans, context.units))


def placed_by(context: FieldContext, dims: Sequence[str]) -> Placed:
    """The days of a context by dimensions, in the order of their names, summed once."""
    names = tuple(sorted(dims))
    return context.once(("placed days", names), lambda: unit_days(context).by(names))


def split_days(spans: pl.DataFrame, units: pl.DataFrame, dims: Sequence[str]) -> pl.DataFrame:
    """Unit-days by the dimensions of unit and day.

    Args:
        spans: of `FieldContext.spans`: unit, from_on, until_on, entry, exit and what they say.
        units: unit and the dimensions of the unit.
        dims: of OF_UNIT and OF_DAY.

    Returns:
        unit, the dimensions, days: one row a unit and group in which it is watched for a day.
    """
    return UnitDays(spans, units).by(dims).frame().select("unit", *dims, "days")
