"""The mean number, or cost, of events a unit by an age.

Belongs here: the mean cumulative function with limits that hold when the same units come back.
Does not belong here: who is at risk (`risk_sets`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipelines.field.counted_episodes import CountedEpisodes, Events, HappenedInside
from pipelines.field.poisson import Z_95
from pipelines.field.risk_sets import MONTH_AGES

_TRACE = 1e-12  # real variances are of the order of mean² over the number of events


class Mean(NamedTuple):
    """Mean by group and age, its standard error and 95 % limits; NaN where there are none."""

    value: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray


class Course(NamedTuple):
    """A mean as it runs: `at` of some groups and ages gives it."""

    happened: HappenedInside
    sums: np.ndarray

    def at(self, group: np.ndarray, age: np.ndarray) -> np.ndarray:
        """The mean of groups by ages; 0 before anything has happened."""
        values: np.ndarray = np.append(0.0, self.sums)[self.happened.place(group, age)]
        return values


def means_at_months(counted: CountedEpisodes, events: Events, *weights: np.ndarray) -> list[Mean]:
    """Means at whole months 0 to 60 (groups x 61), one for each of the weights of the events."""
    return [mean for mean, _ in courses_at_months(counted, events, *weights)]


def courses_at_months(
    counted: CountedEpisodes, events: Events, *weights: np.ndarray
) -> list[tuple[Mean, Course]]:
    """The same, each with its course between months."""
    inside = events.age < counted.grid.ages
    happened = HappenedInside.of(counted, events)
    return [_mean(happened, weight[inside], MONTH_AGES) for weight in weights]


def mean_cumulative(counted: CountedEpisodes, events: Events) -> Mean:
    """Nelson's mean cumulative function with Lawless and Nadeau's (1995) robust variance.

    At all ages of the grid (groups x ages). The limits are on the log scale; NaN where the mean or
    its error is 0.

    The variance is the sum over units of (E - G)², where E sums weight/at-risk over the unit's own
    events and G the increments of the mean over at-risk while it was watched, in all of its
    episodes in the group. Both change only at ends and events, so running sums over ages do for a
    million units.
    """
    happened = HappenedInside.of(counted, events)
    return _mean(happened, happened.events.weight, np.arange(counted.grid.ages))[0]


def _mean(happened: HappenedInside, weight: np.ndarray, ages: np.ndarray) -> tuple[Mean, Course]:
    """The mean by group and age, for ages up to that with which the table ends."""
    amount = np.bincount(happened.cell, weight, len(happened.key))
    steps = amount / happened.at_risk
    sums = happened.running(steps)
    rises = steps / happened.at_risk
    tables = _Tables.of(happened.counted, ages)
    column = tables.column(happened.key % happened.counted.width)
    mean, g = (tables.running((happened.group, column, rise)) for rise in (steps, rises))
    squares = _squares(happened, weight, np.append(0.0, happened.running(rises)), g, tables)
    # Where all episodes are alike, rounding leaves a trace that would show as limits.
    error = np.sqrt(np.where(squares > _TRACE * mean**2, squares, 0))
    with np.errstate(divide="ignore", invalid="ignore"):
        usable = (mean > 0) & (error > 0)
        width = np.exp(Z_95 * error / mean)
        low = np.where(usable, mean / width, np.nan)
        high = np.where(usable, mean * width, np.nan)
    return Mean(mean, error, low, high), Course(happened, sums)


class _Tables(NamedTuple):
    """Tables of groups by some ages. columns: of each age that occurs, the first that is not below
    it, looked up since a search for every event takes many times as long."""

    groups: int
    ages: np.ndarray
    columns: np.ndarray

    @classmethod
    def of(cls, counted: CountedEpisodes, ages: np.ndarray) -> _Tables:
        """Those of the groups of episodes."""
        columns = np.searchsorted(ages, np.arange(counted.width))
        return cls(counted.grid.groups, ages, columns)

    def column(self, age: np.ndarray) -> np.ndarray:
        """The first age of the table that is not below an age."""
        columns: np.ndarray = self.columns[age]
        return columns

    def running(self, *parts: tuple[np.ndarray, np.ndarray | int, np.ndarray]) -> np.ndarray:
        """Sums up to each age, of what has a group, a column and a weight."""
        columns = len(self.ages) + 1
        sums = np.zeros(self.groups * columns)
        for group, column, weight in parts:
            sums += np.bincount(group * columns + column, weight, len(sums))
        table = sums.reshape(self.groups, columns)
        running: np.ndarray = np.cumsum(table[:, :-1], axis=1)
        return running


def _squares(
    happened: HappenedInside, weight: np.ndarray, g: np.ndarray, now: np.ndarray, tables: _Tables
) -> np.ndarray:
    """Sum over units of (E - G)² = sum E² - 2 sum E G(end) + sum G(end)², by group and age.

    It is summed by episodes. One with which a unit comes back begins with what its earlier ones
    came to, which from then on is taken away from theirs. `g` is G behind each cell, with 0 before
    the first; `now` G by group and age.
    """
    counted, late = happened.counted, happened.counted.late
    episodes, endings = counted.episodes, counted.endings
    place, age = happened.events.episode, happened.events.age
    share = weight / happened.at_risk[happened.cell]
    # Who enters late has missed G up to then: the same as an event of that size on entry.
    missed, at_end = g[happened.before_entry], g[happened.at_end]
    _, back = counted.returns
    begun = tables.column(episodes.entry[late])
    brought = []
    if len(back):
        shares = np.bincount(place, share, len(episodes.unit))
        carried = _carried(counted, shares, at_end, missed)
        before = np.zeros(len(episodes.unit))
        before[back] = carried
        missed = missed + before[late]
        column = tables.column(episodes.entry[back])
        brought = [(episodes.group[back], column, -(carried**2))]
    place, age, share = (
        np.concatenate(pair)
        for pair in ((place, late), (age, episodes.entry[late]), (share, missed))
    )
    order = np.argsort(place * counted.width + age, kind="stable")
    place, age, share = place[order], age[order], share[order]
    total = _running(place, share)
    group, ending, column = episodes.group[place], endings.place[place], tables.column(age)
    ended = tables.column(endings.age)
    # E G(end) counts at the end once that has come, and E G(now) until then.
    settled = tables.running(
        (group, column, total**2 - (total - share) ** 2),
        (group, ended[ending], -2 * share * at_end[ending]),
        (endings.group, ended, endings.episodes * at_end**2),
        *brought,
    )
    early = tables.running((group, column, share), (group, ended[ending], -share))
    still = tables.running(
        (np.arange(counted.grid.groups), 0, counted.early),
        (episodes.group[late], begun, np.ones(len(late))),
        (endings.group, ended, -endings.episodes),
    )
    summed: np.ndarray = settled - 2 * now * early + still * now**2
    return summed


def _carried(
    counted: CountedEpisodes, shares: np.ndarray, at_end: np.ndarray, missed: np.ndarray
) -> np.ndarray:
    """E - G of each unit as it comes back to a group, from all its episodes there before.

    `shares` is E of each episode by itself, `at_end` G at each ending, `missed` G before late ones.
    """
    left, back = counted.returns
    before = np.zeros(len(shares))
    before[counted.late] = missed
    own = shares[left] - (at_end[counted.endings.place[left]] - before[left])
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
