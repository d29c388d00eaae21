"""The mean number, or cost, of events a unit by an age.

Belongs here: the mean cumulative function with limits that hold when the same units come back.
Does not belong here: who is at risk (`risk_sets`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipelines.field.poisson import Z_95
from pipelines.field.risk_sets import AgeGrid, Episodes


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


def mean_cumulative(grid: AgeGrid, episodes: Episodes, events: Events) -> Mean:
    """Nelson's mean cumulative function with Lawless and Nadeau's (1995) robust variance.

    The limits are on the log scale; NaN where the mean or its error is 0.

    The variance is the sum over episodes of (E - G)², where E sums weight/at-risk over its own
    events and G the increments of the mean over at-risk while it was watched. Both change only
    at ends and events, so running sums over ages do for a million units.
    """
    group = episodes.group[events.episode]
    at_risk = grid.at_risk(episodes)
    amount = grid.count(group, events.age, events.weight)
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.where(amount > 0, amount / at_risk, 0.0)
        g = np.cumsum(np.where(amount > 0, steps / at_risk, 0.0), axis=1)
    mean = np.cumsum(steps, axis=1)
    error = np.sqrt(np.maximum(_squares(grid, episodes, events, at_risk, g), 0))
    with np.errstate(divide="ignore", invalid="ignore"):
        usable = (mean > 0) & (error > 0)
        width = np.exp(Z_95 * error / mean)
        low = np.where(usable, mean / width, np.nan)
        high = np.where(usable, mean * width, np.nan)
    return Mean(mean, error, low, high)


def _squares(
    grid: AgeGrid, episodes: Episodes, events: Events, at_risk: np.ndarray, g: np.ndarray
) -> np.ndarray:
    """Sum over episodes of (E - G)² = sum E² - 2 sum E G(end) + sum G(end)², by group and age."""
    inside = events.age < grid.ages
    place, age, weight = (part[inside] for part in events)
    share = weight / at_risk[episodes.group[place], age]
    # Who enters late has missed G up to then: the same as an event of that size on entry.
    late = np.flatnonzero((episodes.entry > 0) & (episodes.entry < grid.ages))
    missed = g[episodes.group[late], episodes.entry[late] - 1]
    place, age, share = (
        np.concatenate(pair)
        for pair in ((place, late), (age, episodes.entry[late]), (share, missed))
    )
    order = np.lexsort((age, place))
    place, age, share = place[order], age[order], share[order]
    total = _running(place, share)
    group = episodes.group[place]
    end = np.minimum(episodes.exit, grid.ages - 1)
    g_end = g[episodes.group, end]
    own = np.cumsum(grid.count(group, age, total**2 - (total - share) ** 2), axis=1)
    early = np.cumsum(grid.count(group, age, share), axis=1)
    left = np.cumsum(grid.count(group, end[place], share), axis=1)
    ended = np.cumsum(grid.count(group, end[place], share * g_end[place]), axis=1)
    gone = grid.count(episodes.group, end)
    gone_squares = np.cumsum(gone * g**2, axis=1)
    come = grid.count(episodes.group, episodes.entry)
    still = np.cumsum(come, axis=1) - np.cumsum(gone, axis=1)
    return own - 2 * (ended + g * (early - left)) + gone_squares + still * g**2


def _running(place: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Running sum of shares within each episode; equal places stand together."""
    total = np.cumsum(share)
    first = np.flatnonzero(np.diff(place, prepend=-1))
    before = (total - share)[first]
    lengths = np.diff(np.append(first, len(place)))
    return total - np.repeat(before, lengths)
