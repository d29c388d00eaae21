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


class Episodes(NamedTuple):
    """One element an episode: its group, its unit, and the first and last age at risk."""

    group: np.ndarray
    unit: np.ndarray
    entry: np.ndarray
    exit: np.ndarray

    def until(self, first: np.ndarray) -> tuple[Episodes, np.ndarray]:
        """Cut at each unit's first event, and whether each cut episode ends in it.

        Args:
            first: the age of the first event by unit; beyond any age where there is none.
        """
        failed_at = first[self.unit]
        kept = failed_at >= self.entry
        group, unit, entry, exit_ = (part[kept] for part in self)
        failed_at = failed_at[kept]
        return Episodes(group, unit, entry, np.minimum(exit_, failed_at)), failed_at <= exit_


class AgeGrid(NamedTuple):
    """How many groups and ages a table of counts has; what happens at later ages is left out."""

    groups: int
    ages: int = int(MONTH_AGES[-1]) + 2

    def count(
        self, group: np.ndarray, age: np.ndarray, weight: np.ndarray | None = None
    ) -> np.ndarray:
        """Sum of weights (or a count) by group and age."""
        inside = age < self.ages
        cell = group[inside] * self.ages + age[inside]
        chosen = None if weight is None else weight[inside]
        flat = np.bincount(cell, chosen, minlength=self.groups * self.ages)
        return flat.astype(float).reshape(self.groups, self.ages)

    def at_risk(self, episodes: Episodes) -> np.ndarray:
        """Episodes that hold each age."""
        gone = self.count(episodes.group, episodes.exit)
        come = self.count(episodes.group, episodes.entry)
        return np.cumsum(come, axis=1) - (np.cumsum(gone, axis=1) - gone)

    def at_risk_at_months(self, episodes: Episodes) -> np.ndarray:
        """Episodes that reach each whole month of age (groups x 61).

        A month that does not fall on a whole day is reached by those with a day beyond it.
        """
        gone = np.cumsum(self.count(episodes.group, episodes.exit), axis=1)
        come = np.cumsum(self.count(episodes.group, episodes.entry), axis=1)
        passed = np.where(_WHOLE, MONTH_AGES - 1, MONTH_AGES)
        left = np.where(passed >= 0, gone[:, np.maximum(passed, 0)], 0)
        return (come[:, MONTH_AGES] - left).astype(np.int64)


def at_months(table: np.ndarray) -> np.ndarray:
    """The values of a running table (groups x ages) at whole months 0 to 60 (groups x 61)."""
    return table[:, MONTH_AGES]
