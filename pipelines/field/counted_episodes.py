"""Episodes and what happens in them, counted by event and not by tables of ages.

Belongs here: who is at risk at events, sums over a group's events up to an age. Does not belong
here: what is estimated from them (`mean_cumulative`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from pipelines.field.risk_sets import AgeGrid, Episodes


class Events(NamedTuple):
    """One element an event: the place of its episode, its age, and what it weighs."""

    episode: np.ndarray
    age: np.ndarray
    weight: np.ndarray


class Endings(NamedTuple):
    """One element a group and last age of episodes, in rising order: both, and how many episodes
    have it. `place` is which of them each episode has."""

    group: np.ndarray
    age: np.ndarray
    place: np.ndarray
    episodes: np.ndarray


@dataclass(frozen=True)
class CountedEpisodes:
    """Episodes counted once for all means that are taken over them.

    What happens to a few units in one of very many groups must not cost a table of groups and ages:
    counts stand by event, and tables by the ages that are asked for alone.
    """

    grid: AgeGrid
    episodes: Episodes

    @cached_property
    def width(self) -> int:
        """What parts the groups in a number that holds group and age."""
        return int(max(self.episodes.exit.max(initial=0), self.grid.ages)) + 2

    @cached_property
    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Group and age as one number, in rising order: of all begins, and of what follows ends."""
        begun = self.episodes.group * self.width
        return np.sort(begun + self.episodes.entry), np.sort(begun + self.episodes.exit + 1)

    def at_risk(self, key: np.ndarray) -> np.ndarray:
        """Episodes of a group that hold an age, both as one number."""
        begun, ended = self.ends  # those of earlier groups have all begun and ended, and cancel
        held: np.ndarray = np.searchsorted(begun, key, "right")
        return held - np.searchsorted(ended, key, "right")

    @cached_property
    def end(self) -> np.ndarray:
        """The last age of each episode, or of the table where that is earlier."""
        last: np.ndarray = np.minimum(self.episodes.exit, self.grid.ages - 1)
        return last

    @cached_property
    def early(self) -> np.ndarray:
        """How many episodes of each group begin at age 0."""
        group = self.episodes.group[self.episodes.entry <= 0]
        counts: np.ndarray = np.bincount(group, minlength=self.grid.groups)
        return counts

    @cached_property
    def endings(self) -> Endings:
        """The groups and last ages of the episodes: far fewer than episodes, and in order."""
        of_episode = self.episodes.group * self.width + self.end
        key, place, count = np.unique(of_episode, return_inverse=True, return_counts=True)
        return Endings(*np.divmod(key, self.width), place, count)

    @cached_property
    def returns(self) -> tuple[np.ndarray, np.ndarray]:
        """Places of the episodes that a unit left its group with, and of the next it came with."""
        left, back = self.episodes.returns()
        inside = self.episodes.entry[back] < self.grid.ages
        return left[inside], back[inside]

    @cached_property
    def late(self) -> np.ndarray:
        """Places of the episodes that do not begin at age 0."""
        return np.flatnonzero((self.episodes.entry > 0) & (self.episodes.entry < self.grid.ages))


@dataclass(frozen=True)
class HappenedInside:
    """The groups and ages at which something happens, in rising order, as one number each.

    events: those within the ages of the table, with place, age and weight. cell: of each, the place
    of its group and age. at_risk: the episodes that hold each.
    """

    counted: CountedEpisodes
    events: Events
    key: np.ndarray
    cell: np.ndarray
    at_risk: np.ndarray

    @classmethod
    def of(cls, counted: CountedEpisodes, events: Events) -> HappenedInside:
        """The events within the ages of the table."""
        inside = events.age < counted.grid.ages
        events = Events(*(part[inside] for part in events))
        of_event = counted.episodes.group[events.episode] * counted.width + events.age
        key, cell = np.unique(of_event, return_inverse=True)
        return cls(counted, events, key, cell, counted.at_risk(key))

    @cached_property
    def group(self) -> np.ndarray:
        """The group of each cell."""
        groups: np.ndarray = self.key // self.counted.width
        return groups

    @cached_property
    def first(self) -> np.ndarray:
        """The place of each group's first cell."""
        groups = np.arange(self.counted.grid.groups)
        return np.searchsorted(self.key, groups * self.counted.width)

    def running(self, steps: np.ndarray) -> np.ndarray:
        """The sum of the steps of a group's cells up to each of them."""
        rank = np.arange(len(self.key)) - self.first[self.group]
        table = np.zeros((self.counted.grid.groups, int(rank.max(initial=-1)) + 1))
        table[self.group, rank] = steps
        sums: np.ndarray = np.cumsum(table, axis=1)[self.group, rank]
        return sums

    def place(self, group: np.ndarray, age: np.ndarray) -> np.ndarray:
        """One more than the place of the last cell of a group up to an age; 0: there is none."""
        at = np.searchsorted(self.key, group * self.counted.width + age, "right")
        place: np.ndarray = np.where(at > self.first[group], at, 0)
        return place

    @cached_property
    def at_end(self) -> np.ndarray:
        """`place` at each of the episodes' endings."""
        return self.place(self.counted.endings.group, self.counted.endings.age)

    @cached_property
    def before_entry(self) -> np.ndarray:
        """`place` just before each late episode."""
        late, episodes = self.counted.late, self.counted.episodes
        return self.place(episodes.group[late], episodes.entry[late] - 1)
