"""Hazard ratios of states that change with time.

Belongs here: Cox's partial likelihood for one factor, on counted risk sets, with limits clustered
by unit. Does not belong here: which states there are (`treatment`).

The likelihood is that of statsmodels' PHReg with strata, delayed entry and Breslow's ties; that
class works through every row at every age, which a million units do not allow, whereas the
likelihood of one factor needs no more than how many of each state were at risk at each event.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np


class Stretches(NamedTuple):
    """One element a stretch of one state: stratum, state, unit, and its ages, both included.

    Strata, states and units are whole numbers from 0; state 0 is the reference.
    """

    stratum: np.ndarray
    state: np.ndarray
    unit: np.ndarray
    entry: np.ndarray
    exit: np.ndarray


class Failures(NamedTuple):
    """One element a failure: stratum, state and unit as in `Stretches`, and its age."""

    stratum: np.ndarray
    state: np.ndarray
    unit: np.ndarray
    age: np.ndarray


class Hazards(NamedTuple):
    """Log hazard ratios of `states` to the first of them, with their covariance by unit."""

    states: np.ndarray
    log_ratios: np.ndarray
    covariance: np.ndarray


class RiskSets(NamedTuple):
    """The time at risk, ordered once for all kinds of failure.

    stretches: as they came. states: how many there are. ages: one more than the last age.
    begin, end: where each stretch begins and has ended, as stratum, state and age in one number,
        in rising order.
    bounds: the same without the state, each once.
    first, last: of each stretch, where both are in a table of states x bounds.
    """

    stretches: Stretches
    states: int
    ages: int
    begin: np.ndarray
    end: np.ndarray
    bounds: np.ndarray
    first: np.ndarray
    last: np.ndarray

    @classmethod
    def of(cls, stretches: Stretches, states: int, ages: int | None = None) -> RiskSets:
        """`states` is how many there are, `ages` too; None: up to the last age that occurs."""
        if ages is None:
            ages = int(stretches.exit.max(initial=0)) + 1
        row = (stretches.stratum * states + stretches.state) * (ages + 1)
        begin, end = np.sort(row + stretches.entry), np.sort(row + stretches.exit + 1)
        both = stretches.stratum * ages + np.array([stretches.entry, stretches.exit + 1])
        bounds, place = np.unique(both, return_inverse=True)
        first, last = stretches.state * len(bounds) + place.reshape(both.shape)
        return cls(stretches, states, ages, begin, end, bounds, first, last)

    def at_risk(self, stratum: np.ndarray, age: np.ndarray) -> np.ndarray:
        """Stretches of each state that hold an age of a stratum (one row a pair x states)."""
        # Those of earlier strata and states have all begun and ended, and cancel.
        row = (stratum[:, None] * self.states + np.arange(self.states)) * (self.ages + 1)
        at = row + age[:, None]
        begun = np.searchsorted(self.begin, at, "right")
        held: np.ndarray = begun - np.searchsorted(self.end, at, "right")
        return held

    def without(self, stretches: Stretches) -> RiskSets:
        """Parts of the same stretches, as what is to be left out of them."""
        return RiskSets.of(stretches, self.states, self.ages)


class _Table(NamedTuple):
    """The strata and ages with an event: at risk and events by state (cells x states).

    key: stratum and age of each cell as one number, rising. place: the cell of each failure.
    """

    key: np.ndarray
    place: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray

    def shares(self, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Expected share of each state in a cell's events, its events, and its hazard."""
        weight = self.at_risk * np.exp(beta)
        whole, total = weight.sum(axis=1), self.events.sum(axis=1)
        return weight / whole[:, None], total, total / whole


def fit_states(sets: RiskSets, failures: Failures, out: RiskSets | None = None) -> Hazards | None:
    """Maximum partial likelihood of the states, all failures counting (Andersen & Gill 1982).

    Only states with a failure take part.

    Args:
        sets: the time at risk.
        failures: in it.
        out: parts of that time that do not count (`RiskSets.without`).

    Returns:
        None where there are not two of them, or where a state without company in every stratum
        leaves the likelihood without a finite maximum.
    """
    states, ages = sets.states, sets.ages
    present = np.flatnonzero(np.bincount(failures.state, minlength=states))
    if len(present) < 2:
        return None
    key, place = np.unique(failures.stratum * ages + failures.age, return_inverse=True)
    cells = len(key)
    happened = np.bincount(place * states + failures.state, minlength=cells * states)
    at_risk = sets.at_risk(*np.divmod(key, ages))
    if out is not None:
        at_risk -= out.at_risk(*np.divmod(key, ages))
    at_risk = at_risk[:, present].astype(float)
    events = happened.reshape(cells, states)[:, present].astype(float)
    table = _Table(key, place, at_risk, events)
    beta = np.zeros(len(present))
    for _ in range(50):
        score, information = _derivatives(table, beta)
        score, information = score[1:], information[1:, 1:]
        if _deficient(information):
            return None
        step = np.linalg.solve(information, score)
        beta[1:] += np.clip(step, -2, 2)
        if np.abs(beta).max() > 15:
            return None
        if np.abs(step).max() < 1e-10:
            break
    residuals = _seen(failures, present, table, beta, int(sets.stretches.unit.max()) + 1)
    residuals -= _expected(sets, present, table, beta, residuals.shape)
    if out is not None:
        residuals += _expected(out, present, table, beta, residuals.shape)
    inverse = np.linalg.inv(information)
    meat = residuals @ residuals.T
    return Hazards(present, beta, np.pad(inverse @ meat @ inverse, ((1, 0), (1, 0))))


def _deficient(information: np.ndarray) -> bool:
    """Whether its least eigenvalue is practically 0, of one or two terms as of more."""
    least = 1e-9 * max(1.0, information.max())
    if len(information) > 2:
        return bool(np.linalg.eigvalsh(information)[0] <= least)
    if len(information) == 1:
        return bool(information[0, 0] <= least)
    (a, b), (_, d) = information.tolist()
    return bool((a + d) / 2 - math.hypot((a - d) / 2, b) <= least)


def _derivatives(table: _Table, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    share, total, _ = table.shares(beta)
    expected = total[:, None] * share
    score = (table.events - expected).sum(axis=0)
    return score, np.diag(expected.sum(axis=0)) - share.T @ expected


def _seen(
    failures: Failures, present: np.ndarray, table: _Table, beta: np.ndarray, units: int
) -> np.ndarray:
    """What its events give to each unit's score but for the reference (states - 1 x units)."""
    share = table.shares(beta)[0][table.place]
    return np.array(
        [
            np.bincount(failures.unit, (failures.state == state) - share[:, own], units)
            for own, state in enumerate(present[1:], start=1)
        ]
    )


def _expected(
    sets: RiskSets, present: np.ndarray, table: _Table, beta: np.ndarray, shape: tuple[int, ...]
) -> np.ndarray:
    """What the fitted hazard expected of each unit's stretches there (states - 1 x units).

    It is the difference of a running sum over ages at the two ends of a stretch.
    """
    share, _, hazard = table.shares(beta)
    place = np.searchsorted(table.key, sets.bounds)
    expected = np.zeros(shape)
    for own in range(1, len(present)):
        running = np.zeros((sets.states, len(place)))
        for column, state in enumerate(present):
            steps = hazard * (float(column == own) - share[:, own])
            running[state] = np.exp(beta[column]) * np.append(0.0, np.cumsum(steps))[place]
        due = running.ravel()[sets.last] - running.ravel()[sets.first]
        expected[own - 1] = np.bincount(sets.stretches.unit, due, shape[1])
    return expected
