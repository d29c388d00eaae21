"""A slice as numbers: which group each episode and each failure belongs to.

Belongs here: the time at risk and what failed there, numbered once for all slices; coding groups
for the estimators by age, and laying their tables out as rows again. Does not belong here: which
slices there are (`slices`), estimates.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, UNIT_DIMENSIONS, FieldContext, Made
from pipelines.field.counted_episodes import CountedEpisodes
from pipelines.field.episodes import episodes, failures_of
from pipelines.field.happened import Happened
from pipelines.field.rates import grid
from pipelines.field.risk_sets import MONTHS, AgeGrid, Counts, Episodes, FirstEvents
from pipelines.field.slices import Slice

NEVER = np.iinfo(np.int64).max
# How the rows of one kind of failure are labelled, and its tables of groups x months.
Part = tuple[Mapping[str, str], Mapping[str, np.ndarray]]


@dataclass(frozen=True)
class TimeAtRisk:
    """The time at risk in a context and what failed there, whatever the groups.

    context: the whole.
    stretches: the dimensions and days of each episode, by unit and age.
    unit, entry, exit: of each, as `Episodes` wants them.
    failures: episode (its place), age, cause_class, water_related, cost of those inside the
        episodes, sorted by episode, age and call.
    ever: unit, age, cause_class, water_related of all up to the end of what is looked at, for
        first failures, sorted by unit, age and call.
    """

    context: FieldContext
    stretches: pl.DataFrame
    unit: np.ndarray
    entry: np.ndarray
    exit: np.ndarray
    failures: pl.DataFrame
    ever: pl.DataFrame
    _first: dict[str, FirstEvents] = field(default_factory=dict)
    _ages: dict[tuple[str, ...], np.ndarray] = field(default_factory=dict)

    @classmethod
    def of(cls, context: FieldContext, *, by_state: bool = False) -> TimeAtRisk:
        """Units, or (by state) their stretches of one treatment state each."""
        stretches = episodes(context, by_state=by_state)
        kind = ("cause_class", "water_related")
        failures = (
            failures_of(context, stretches)
            .sort("episode", "age", "call")
            .select(
                pl.col("episode").cast(pl.Int64),
                pl.col("age").cast(pl.Int64),
                *kind,
                cost=pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64),
            )
        )
        wanted = (pl.col("unit").cast(pl.Int64), "age", "call", *kind)
        ever = pl.concat([context.before.select(wanted), context.failures.select(wanted)])
        dims = [FLEET, *UNIT_DIMENSIONS, *(["treatment"] if by_state else [])]
        unit, entry, last = (
            stretches[name].cast(pl.Int64).to_numpy() for name in ("unit", "entry", "exit")
        )
        return cls(
            context,
            stretches.select(*dims, "days"),
            unit,
            entry,
            last,
            failures,
            ever.sort("unit", "age", "call").drop("call"),
        )

    @cached_property
    def units(self) -> int:
        """One more than the greatest number of a unit."""
        last: int = self.context.units.select(pl.col("unit").max().fill_null(0)).item()
        return last + 1

    @cached_property
    def inside(self) -> Happened:
        """`failures` as arrays."""
        return Happened.of_frame(self.failures)

    @cached_property
    def _ever(self) -> Happened:
        return Happened.of_frame(self.ever)

    def first_ages(self, *kinds: str) -> np.ndarray:
        """The age of each unit's first failure that is of all these kinds (`of_event`)."""
        if kinds not in self._ages:
            of_kind = np.logical_and.reduce([self._ever.of(kind) for kind in kinds])
            unit, age = (part[of_kind] for part in (self._ever["unit"], self._ever["age"]))
            first = np.flatnonzero(np.diff(unit, prepend=-1))  # they stand by unit and age
            ages = np.full(self.units, NEVER)
            ages[unit[first]] = age[first]
            self._ages[kinds] = ages
        return self._ages[kinds]

    def first(self, kind: str) -> FirstEvents:
        """Where the episodes meet the first failure of a kind (`of_event`) of their unit."""
        if kind not in self._first:
            nobody = np.zeros(0, np.int64)
            numbered = Episodes(nobody, self.unit, self.entry, self.exit)
            self._first[kind] = FirstEvents.of(numbered, self.first_ages(kind))
        return self._first[kind]

    @cached_property
    def first_classes(self) -> np.ndarray:
        """The cause class of each first failure of any kind, in the order of `first("any")`."""
        own = self.ever.unique("unit", keep="first", maintain_order=True)
        failing = pl.DataFrame({"unit": self.unit[self.first("any").failed]})
        classes = failing.join(own, on="unit", how="left", maintain_order="left")
        return classes["cause_class"].to_numpy()


@dataclass(frozen=True)
class Grouped:
    """Time at risk parted into the groups of one slice, not yet by cause class.

    groups: the slice's dimensions, one row a group, in the order of the groups' numbers.
    episodes: those of the exposure.
    """

    at_risk: TimeAtRisk
    dims: Slice
    groups: pl.DataFrame
    episodes: Episodes
    _until: dict[str, Counts] = field(default_factory=dict)
    _known: dict[str, Any] = field(default_factory=dict)

    @property
    def context(self) -> FieldContext:
        """Whose time it is."""
        return self.at_risk.context

    def once(self, key: str, make: Callable[[], Made]) -> Made:
        """What several figures need of this slice, made by the first that asks."""
        if key not in self._known:
            self._known[key] = make()
        made: Made = self._known[key]
        return made

    @property
    def grid(self) -> AgeGrid:
        """The table of counts of the slice."""
        return AgeGrid(self.groups.height)

    @property
    def _every_age(self) -> AgeGrid:
        """The same up to the last age at which anyone was watched."""
        last = int(self.episodes.exit.max(initial=0))
        return AgeGrid(self.groups.height, max(last + 1, self.grid.ages))

    @cached_property
    def whole(self) -> Counts:
        """All episodes, at all ages."""
        return self._every_age.counts(self.episodes)

    def until(self, kind: str) -> Counts:
        """The episodes up to their unit's first failure of a kind, at all ages."""
        if kind not in self._until:
            first = self.at_risk.first(kind)
            self._until[kind] = self._every_age.until(first, self.episodes, self.whole)
        return self._until[kind]

    @cached_property
    def counted(self) -> CountedEpisodes:
        """The episodes counted once for all means that are taken over them."""
        return CountedEpisodes(self.grid, self.episodes)

    @cached_property
    def _again(self) -> np.ndarray:
        """Places of the episodes with which a unit comes back to its group."""
        return self.episodes.returns()[1]

    @cached_property
    def units_watched(self) -> np.ndarray:
        """How many units each group has; one that comes back to it is one."""
        groups = self.groups.height
        stretches = np.bincount(self.episodes.group, minlength=groups)
        again = np.bincount(self.episodes.group[self._again], minlength=groups)
        units: np.ndarray = stretches - again
        return units

    def units_until(self, kind: str) -> np.ndarray:
        """How many units each group has up to their first failure of a kind.

        A unit that comes back to a group is one unit there, however many stretches it has.
        """
        stretches: np.ndarray = self.until(kind).come.sum(axis=1).astype(np.int64)
        if len(self._again) == 0:
            return stretches
        kept = np.ones(len(self.episodes.unit), bool)
        kept[self.at_risk.first(kind).past] = False
        again = self._again[kept[self._again]]
        units: np.ndarray = stretches - np.bincount(
            self.episodes.group[again], minlength=len(stretches)
        )
        return units

    def rows(self, parts: Sequence[Part]) -> pl.DataFrame:
        """Tables of groups x months 0 to 60 as columns beside labels, groups and `months`.

        Of several kinds of failure one behind the other, with the same labels and tables each.
        """
        months, groups = MONTHS + 1, self.groups.height
        cells = groups * months
        labels = pl.DataFrame([words for words, _ in parts])
        place = np.tile(np.repeat(np.arange(groups), months), len(parts))
        stacked = {
            name: np.concatenate([tables[name].reshape(-1) for _, tables in parts])
            for name in parts[0][1]
        }
        columns = [
            pl.Series(name, values, nan_to_null=values.dtype.kind == "f")
            for name, values in stacked.items()
        ]
        of_month = pl.Series("months", np.tile(np.arange(months), groups * len(parts)))
        own = labels[np.repeat(np.arange(len(parts)), cells)]
        return self.groups[place].hstack([*own.get_columns(), of_month, *columns])


def grouped(at_risk: TimeAtRisk, dims: Slice) -> Grouped:
    """The slice with its groups numbered and every episode in one of them."""
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    every = grid(at_risk.context, tuple(placed[1:])).select(placed).sort(placed)
    numbered = every.with_row_index("group")
    own = at_risk.stretches.select(placed).join(numbered, on=placed, maintain_order="left")
    group = own["group"].cast(pl.Int64).to_numpy()
    return Grouped(at_risk, dims, every, Episodes(group, at_risk.unit, at_risk.entry, at_risk.exit))
