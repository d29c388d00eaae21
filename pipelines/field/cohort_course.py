"""Figure 5: what the projection of quarters of entry asks of their units.

Belongs here: families, cover to come, failures expected so far, by quarter. Does not belong here:
the projection itself (`cohort_projection`), the table (`cohorts`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from pipelines.field.cohort_projection import (
    Course,
    Projected,
    month_of,
    project,
    reference_of,
)
from pipelines.field.context import FieldContext
from pipelines.field.counted_episodes import CountedEpisodes, Events
from pipelines.field.ends import last_shown
from pipelines.field.groups import TimeAtRisk
from pipelines.field.hindsight import fleet_known
from pipelines.field.outlook import outlook
from pipelines.field.risk_sets import MONTHS, AgeGrid, Episodes, at_risk_at_months


@dataclass(frozen=True)
class Quarters:
    """The units of a slice by group and quarter of entry.

    groups: the dimensions of each group, its cohort and how many units entered. reaching: units
    watched so long, groups x months. entered_on: days since 1970 by unit.
    """

    at_risk: TimeAtRisk
    groups: pl.DataFrame
    episodes: Episodes
    reaching: np.ndarray
    entered_on: np.ndarray

    @classmethod
    def of(cls, context: FieldContext, placed: list[str]) -> Quarters:
        """Those of the units that are watched for a day or more."""
        at_risk = context.once("time at risk", lambda: TimeAtRisk.of(context))
        watched = np.zeros(at_risk.units, bool)
        watched[at_risk.unit] = True
        start = pl.col("watched_from")
        own_units = context.units.filter(watched[context.units["unit"].to_numpy()])
        entered = own_units.select(
            *placed,
            unit=pl.col("unit").cast(pl.Int64),
            cohort=pl.format("{}-Q{}", start.dt.year(), start.dt.quarter()),
            day=start.cast(pl.Int64),
        )
        keys = [*placed, "cohort"]
        groups = entered.group_by(keys).agg(units=pl.len().cast(pl.Int64)).sort(keys)
        numbered = entered.join(groups.select(keys).with_row_index("group"), on=keys)
        group, day = np.zeros(at_risk.units, np.int64), np.zeros(at_risk.units, np.int64)
        group[numbered["unit"].to_numpy()] = numbered["group"].to_numpy()
        day[numbered["unit"].to_numpy()] = numbered["day"].to_numpy()
        own = Episodes(group[at_risk.unit], at_risk.unit, at_risk.entry, at_risk.exit)
        return cls(at_risk, groups, own, at_risk_at_months(own, groups.height), day)

    @cached_property
    def counted(self) -> CountedEpisodes:
        """The episodes counted once for all kinds of failure."""
        return CountedEpisodes(AgeGrid(self.groups.height), self.episodes)

    @cached_property
    def by_family(self) -> CountedEpisodes:
        """The same by group, whatever the quarter, and family."""
        family, names = self.families
        own, of_each = self.slices[self.episodes.group], family[self.episodes.unit]
        placed = self.episodes._replace(group=own * names + of_each)
        groups = int(self.slices.max(initial=-1)) + 1
        return CountedEpisodes(AgeGrid(groups * names), placed)

    @cached_property
    def slices(self) -> np.ndarray:
        """The number of each group without its quarter of entry."""
        own = [name for name in self.groups.columns if name not in ("cohort", "units")]
        number = self.groups.select(pl.struct(own).rank("dense") - 1).to_series()
        return number.to_numpy().astype(np.int64)

    @cached_property
    def families(self) -> tuple[np.ndarray, int]:
        """The number of each unit's family, and how many there are."""
        return _families(self.at_risk.context, self.at_risk.units)

    @cached_property
    def reached(self) -> tuple[np.ndarray, np.ndarray]:
        """The last month that each quarter has reached, and the last that all its units have."""
        return _reached(self, self.reaching)

    @cached_property
    def due(self) -> np.ndarray:
        """Units by quarter, family and month that will be watched so long, or were."""
        return _due(self, *self.families)


def projections(quarters: Quarters, events: Events, mean: np.ndarray) -> Projected:
    """The months that quarters have not reached.

    Args:
        quarters: the units by group and quarter.
        events: their failures, with weights that complete them.
        mean: completed mean count, quarters x months.
    """
    context, episodes = quarters.at_risk.context, quarters.episodes
    reference = reference_of(quarters.by_family, quarters.families[1], events)
    so_far = reference.course_of(quarters.by_family)
    cohorts = quarters.groups.height
    return project(
        Course(
            quarters.slices,
            mean,
            quarters.reaching,
            *quarters.reached,
            np.bincount(episodes.group[events.episode], events.weight, minlength=cohorts),
            np.bincount(episodes.group, so_far, minlength=cohorts),
            quarters.due,
        ),
        reference,
        dispersion(context),
        context.as_of.toordinal(),
    )


def dispersion(context: FieldContext) -> float:
    """That of the forecast's counts; 1 where there is no forecast."""
    model = outlook(context, context.as_of).model
    return model.dispersion if model is not None else 1.0


def _families(context: FieldContext, units: int) -> tuple[np.ndarray, int]:
    """The number of each unit's family, and how many there are."""
    names = context.units["family"].unique().sort()
    number = context.units["family"].replace_strict(
        names, pl.int_range(len(names), eager=True), return_dtype=pl.Int64
    )
    family = np.zeros(units, np.int64)
    family[context.units["unit"].to_numpy()] = number.to_numpy()
    return family, len(names)


def _reached(quarters: Quarters, at_risk: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The last month that each quarter has reached, and the last that all its units have."""
    today = int(np.datetime64(quarters.at_risk.context.as_of, "D").astype(np.int64)) + 1
    episodes = quarters.episodes
    latest = np.zeros(quarters.groups.height, np.int64)
    np.maximum.at(latest, episodes.group, quarters.entered_on[episodes.unit])
    whole = month_of(today - latest)
    shown = last_shown(at_risk, quarters.groups["units"].to_numpy())
    some = (at_risk > 0).sum(axis=1) - 1
    return np.minimum(np.maximum(np.where(shown < 0, some, shown), whole), some), whole


def _due(quarters: Quarters, family: np.ndarray, families: int) -> np.ndarray:
    """Units by quarter, family and month that will be watched so long, or were."""
    context, episodes = quarters.at_risk.context, quarters.episodes
    fleet = fleet_known(context, context.as_of)
    potential = np.zeros(quarters.at_risk.units, np.int64)
    potential[fleet["unit"].to_numpy()] = (fleet["ends"] - fleet["starts"]).to_numpy()
    unit, first = np.unique(episodes.unit, return_index=True)
    cell = episodes.group[first] * families + family[unit]
    month = month_of(potential[unit])
    shape = (quarters.groups.height * families, MONTHS + 1)
    ends = np.bincount(cell * (MONTHS + 1) + np.maximum(month, 0), minlength=shape[0] * shape[1])
    due: np.ndarray = np.cumsum(ends.reshape(shape)[:, ::-1], axis=1)[:, ::-1]
    return due.reshape(quarters.groups.height, families, MONTHS + 1)
