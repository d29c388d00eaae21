"""Who is at risk at which age: counts by group and age, and values at whole months.

Belongs here: counting episodes and events by age. Does not belong here: estimators, which take
these counts.

An episode is a stretch of ages, both ends included, over which one unit could have an event. A
unit watched for D days is at risk at every age up to D: the contract counts at an age the units
watched for at least so many days. Ages are whole days, so that every count is a table of groups
(rows) by ages (columns), which a million units fill in milliseconds.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

MONTHS = 60
MONTH_DAYS = 30.4375  # exactly 487/16
# The last whole day within each month of age 0 to 60; what has happened by then counts there.
MONTH_AGES = np.arange(MONTHS + 1) * 487 // 16
_WHOLE = np.arange(MONTHS + 1) * 487 % 16 == 0
# `_month_of` each age up to the first past all months: looking it up takes a fiftieth of a search.
_MONTH_OF_AGE = np.searchsorted(MONTH_AGES, np.arange(MONTH_AGES[-1] + 2))


class Episodes(NamedTuple):
    """One element an episode: its group, its unit, and the first and last age at risk."""

    group: np.ndarray
    unit: np.ndarray
    entry: np.ndarray
    exit: np.ndarray

    def returns(self) -> tuple[np.ndarray, np.ndarray]:
        """Where a unit comes back to a group: places of the stretch that it left and of the next.

        Those of one unit in one group stand together, the earliest first.
        """
        # Most units have one stretch, and need no sorting.
        several = np.flatnonzero(np.bincount(self.unit)[self.unit] > 1)
        order = several[np.lexsort([part[several] for part in (self.entry, self.unit, self.group)])]
        group, unit = self.group[order], self.unit[order]
        back = (group[1:] == group[:-1]) & (unit[1:] == unit[:-1])
        return order[:-1][back], order[1:][back]


class FirstEvents(NamedTuple):
    """Where the exposure for a first event ends; all other episodes stay as they are.

    `failed` are the places of the episodes that end in their unit's first event, at `age`; `past`
    of those that begin after it.
    """

    failed: np.ndarray
    age: np.ndarray
    past: np.ndarray

    @classmethod
    def of(cls, episodes: Episodes, first: np.ndarray) -> FirstEvents:
        """`first` is the age of the first event by unit; beyond any age where there is none."""
        at = first[episodes.unit]
        failed = np.flatnonzero((at >= episodes.entry) & (at <= episodes.exit))
        return cls(failed, at[failed], np.flatnonzero(at < episodes.entry))


class Counts(NamedTuple):
    """Episodes that begin and that end at each age, and events (groups x ages)."""

    come: np.ndarray
    gone: np.ndarray
    events: np.ndarray

    @property
    def at_risk(self) -> np.ndarray:
        """Episodes that hold each age."""
        at_risk: np.ndarray = np.cumsum(self.come, axis=1) - (
            np.cumsum(self.gone, axis=1) - self.gone
        )
        return at_risk

    @property
    def at_risk_at_months(self) -> np.ndarray:
        """Episodes that reach each whole month of age (groups x 61).

        A month that does not fall on a whole day is reached by those with a day beyond it.
        """
        gone, come = (np.cumsum(table, axis=1) for table in (self.gone, self.come))
        passed = np.where(_WHOLE, MONTH_AGES - 1, MONTH_AGES)
        left = np.where(passed >= 0, gone[:, np.maximum(passed, 0)], 0)
        return (come[:, MONTH_AGES] - left).astype(np.int64)

    def below(self, ages: int) -> Counts:
        """The same for the first ages only."""
        return Counts(*(table[:, :ages] for table in self))


class AgeGrid(NamedTuple):
    """How many groups and ages a table of counts has; what happens at later ages is left out."""

    groups: int
    ages: int = int(MONTH_AGES[-1]) + 2

    def tally(
        self, group: np.ndarray, age: np.ndarray, weight: np.ndarray | None = None
    ) -> np.ndarray:
        """Sum of weights (or a count) by group and age."""
        inside = age < self.ages
        cell = group[inside] * self.ages + age[inside]
        chosen = None if weight is None else weight[inside]
        flat = np.bincount(cell, chosen, minlength=self.groups * self.ages)
        return flat.astype(float).reshape(self.groups, self.ages)

    def counts(self, episodes: Episodes) -> Counts:
        """Episodes as they begin and end, without any event."""
        come, gone = (self.tally(episodes.group, age) for age in (episodes.entry, episodes.exit))
        return Counts(come, gone, np.zeros_like(come))

    def until(self, first: FirstEvents, episodes: Episodes, whole: Counts) -> Counts:
        """Episodes cut at their unit's first event, which are the events.

        Only those that are cut are counted; the others stand in `whole`, the counts of all.
        """
        failed, past = (
            Episodes(*(part[at] for part in episodes)) for at in (first.failed, first.past)
        )
        events = self.tally(failed.group, first.age)
        dropped = self.counts(past)
        gone = whole.gone - dropped.gone - self.tally(failed.group, failed.exit) + events
        return Counts(whole.come - dropped.come, gone, events)

    def at_risk(self, episodes: Episodes) -> np.ndarray:
        """Episodes that hold each age."""
        return self.counts(episodes).at_risk


def at_months(table: np.ndarray) -> np.ndarray:
    """The values of a running table (groups x ages) at whole months 0 to 60 (groups x 61)."""
    return table[:, MONTH_AGES]


class AgePoints(NamedTuple):
    """The ages at which a table has a column: those of events, and the last within each month.

    Between events nothing that is estimated moves, so that these do, however few events there are.
    """

    ages: np.ndarray

    @classmethod
    def among(cls, events: np.ndarray) -> AgePoints:
        """Those of a table of events (groups x ages), whatever their ages."""
        return cls(np.union1d(np.flatnonzero(events.any(axis=0)), MONTH_AGES))

    def at_months(self, table: np.ndarray) -> np.ndarray:
        """The values of a running table (groups x columns) at whole months 0 to 60."""
        values: np.ndarray = table[:, np.searchsorted(self.ages, MONTH_AGES)]
        return values


def _month_of(age: np.ndarray) -> np.ndarray:
    """The first month by which an age has come; one more than there are where none has."""
    months: np.ndarray = _MONTH_OF_AGE[np.minimum(age, len(_MONTH_OF_AGE) - 1)]
    return months


def at_risk_at_months(episodes: Episodes, groups: int) -> np.ndarray:
    """Episodes that reach each whole month of age (groups x 61), as `Counts` counts them."""
    come = _month_of(episodes.entry)
    left = episodes.exit * 16 // 487 + 1  # the first month that is not reached
    shape = groups * (MONTHS + 2)
    tables = [
        np.bincount(episodes.group * (MONTHS + 2) + np.minimum(month, MONTHS + 1), minlength=shape)
        for month in (come, np.maximum(left, come))
    ]
    reach: np.ndarray = np.cumsum((tables[0] - tables[1]).reshape(groups, MONTHS + 2), axis=1)
    return reach[:, : MONTHS + 1]


def happened_by_months(group: np.ndarray, age: np.ndarray, groups: int) -> np.ndarray:
    """Events up to each whole month of age (groups x 61)."""
    month = _month_of(age)
    inside = month <= MONTHS
    cell = group[inside] * (MONTHS + 1) + month[inside]
    counts = np.bincount(cell, minlength=groups * (MONTHS + 1)).reshape(groups, MONTHS + 1)
    total: np.ndarray = np.cumsum(counts, axis=1)
    return total
