"""The mean number, or cost, of events a unit by an age.

Belongs here: the mean cumulative function with limits that hold when the same units come back.
Does not belong here: who is at risk (`risk_sets`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from pipelines.field.poisson import Z_95
from pipelines.field.risk_sets import AgeGrid, AgePoints, Episodes

_TRACE = 1e-12  # real variances are of the order of mean² over the number of events


class Events(NamedTuple):
    """One element an event: the place of its episode, its age, and what it weighs."""

    episode: np.ndarray
    age: np.ndarray
    weight: np.ndarray


class Mean(NamedTuple):
    """Mean by group and age, its standard error and 95 % limits; NaN where there are none."""

    value: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class CountedEpisodes:
    """Episodes counted once for all means that are taken over them (groups x ages)."""

    grid: AgeGrid
    episodes: Episodes

    @cached_property
    def at_risk(self) -> np.ndarray:
        """Episodes that hold each age."""
        return self.grid.at_risk(self.episodes)

    @cached_property
    def end(self) -> np.ndarray:
        """The last age of each episode, or of the table where that is earlier."""
        last: np.ndarray = np.minimum(self.episodes.exit, self.grid.ages - 1)
        return last

    @cached_property
    def gone(self) -> np.ndarray:
        """Episodes that end at each age."""
        return self.grid.tally(self.episodes.group, self.end)

    @cached_property
    def still(self) -> np.ndarray:
        """Episodes that hold each age and go on beyond it."""
        come = self.grid.tally(self.episodes.group, self.episodes.entry)
        return np.cumsum(come - self.gone, axis=1)

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


def means_at_months(
    episodes: Episodes, groups: int, events: Events, *weights: np.ndarray
) -> list[Mean]:
    """Means at whole months 0 to 60 (groups x 61), one for each of the weights of the events.

    Counted at the ages of the events alone, which gives the same.
    """
    points = AgePoints.of(events.age)
    moved, place = points.episodes(episodes)
    counted = CountedEpisodes(AgeGrid(groups, len(points.ages)), moved)
    means = []
    for weight in weights:
        own = Events(place[events.episode], points.place(events.age), weight)
        at_ages = mean_cumulative(counted, own)
        means.append(Mean(*(points.at_months(table) for table in at_ages)))
    return means


def mean_cumulative(counted: CountedEpisodes, events: Events) -> Mean:
    """Nelson's mean cumulative function with Lawless and Nadeau's (1995) robust variance.

    The limits are on the log scale; NaN where the mean or its error is 0.

    The variance is the sum over units of (E - G)², where E sums weight/at-risk over the unit's own
    events and G the increments of the mean over at-risk while it was watched, in all of its
    episodes in the group. Both change only at ends and events, so running sums over ages do for a
    million units.
    """
    group = counted.episodes.group[events.episode]
    amount = counted.grid.tally(group, events.age, events.weight)
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.where(amount > 0, amount / counted.at_risk, 0.0)
        g = np.cumsum(np.where(amount > 0, steps / counted.at_risk, 0.0), axis=1)
    mean = np.cumsum(steps, axis=1)
    squares = _squares(counted, events, g)
    # Where all episodes are alike, rounding leaves a trace that would show as limits.
    error = np.sqrt(np.where(squares > _TRACE * mean**2, squares, 0))
    with np.errstate(divide="ignore", invalid="ignore"):
        usable = (mean > 0) & (error > 0)
        width = np.exp(Z_95 * error / mean)
        low = np.where(usable, mean / width, np.nan)
        high = np.where(usable, mean * width, np.nan)
    return Mean(mean, error, low, high)


def _squares(counted: CountedEpisodes, events: Events, g: np.ndarray) -> np.ndarray:
    """Sum over units of (E - G)² = sum E² - 2 sum E G(end) + sum G(end)², by group and age.

    It is summed by episodes. One with which a unit comes back begins with what its earlier ones
    came to, which from then on is taken away from theirs.
    """
    grid, episodes, late = counted.grid, counted.episodes, counted.late
    inside = events.age < grid.ages
    place, age, weight = (part[inside] for part in events)
    share = weight / counted.at_risk[episodes.group[place], age]
    # Who enters late has missed G up to then: the same as an event of that size on entry.
    missed = g[episodes.group[late], episodes.entry[late] - 1]
    _, back = counted.returns
    if len(back):
        carried = _carried(counted, np.bincount(place, share, len(episodes.unit)), g)
        brought = np.zeros(len(episodes.unit))
        brought[back] = carried
        missed = missed + brought[late]
    place, age, share = (
        np.concatenate(pair)
        for pair in ((place, late), (age, episodes.entry[late]), (share, missed))
    )
    order = np.argsort(place * grid.ages + age, kind="stable")
    place, age, share = place[order], age[order], share[order]
    total = _running(place, share)
    group, end = episodes.group[place], counted.end[place]
    own = grid.tally(group, age, total**2 - (total - share) ** 2)
    # E G(end) counts at the end once that has come, and E G(now) until then.
    early = grid.tally(group, age, share) - grid.tally(group, end, share)
    ended = grid.tally(group, end, share * g[group, end])
    settled = own - 2 * ended + counted.gone * g**2
    if len(back):
        settled -= grid.tally(episodes.group[back], episodes.entry[back], carried**2)
    squares = np.cumsum(settled, axis=1)
    summed: np.ndarray = squares - 2 * g * np.cumsum(early, axis=1) + counted.still * g**2
    return summed


def _carried(counted: CountedEpisodes, shares: np.ndarray, g: np.ndarray) -> np.ndarray:
    """E - G of each unit as it comes back to a group, from all its episodes there before.

    `shares` is E of each episode by itself.
    """
    episodes, (left, back) = counted.episodes, counted.returns
    group, entry = episodes.group[left], episodes.entry[left]
    before = np.where(entry > 0, g[group, np.maximum(entry, 1) - 1], 0.0)
    own = shares[left] - (g[group, counted.end[left]] - before)
    # A unit's returns stand together, each leaving the episode that the one before came with.
    further = np.append(False, left[1:] == back[:-1])
    return _running(np.cumsum(~further), own)


def _running(place: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Running sum of shares within each episode; equal places stand together."""
    total = np.cumsum(share)
    first = np.flatnonzero(np.diff(place, prepend=-1))
    before = (total - share)[first]
    lengths = np.diff(np.append(first, len(place)))
    running: np.ndarray = total - np.repeat(before, lengths)
    return running
