"""Hazard ratios of states that change with time.

Belongs here: Cox's partial likelihood for one factor, on counted risk sets, with limits clustered
by unit. Does not belong here: which states there are (`treatment`).

The likelihood is that of statsmodels' PHReg with strata, delayed entry and Breslow's ties; that
class works through every row at every age, which a million units do not allow, whereas the
likelihood of one factor needs no more than how many of each state were at risk at each event.
"""

from __future__ import annotations

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
    """The time at risk, counted once for all kinds of failure.

    at_risk: stretches of each state that hold each age (strata x states x ages).
    begin, end: for each stretch, where a running sum over ages stands before its first and after
        its last, in a table of strata x states x (ages + 1) laid out flat.
    unit: whose stretch it is.
    """

    at_risk: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    unit: np.ndarray

    @classmethod
    def of(cls, stretches: Stretches, strata: int, states: int) -> RiskSets:
        """`strata` and `states` are how many there are."""
        ages = int(stretches.exit.max(initial=0)) + 1
        row = (stretches.stratum * states + stretches.state) * (ages + 1)
        begin, end = row + stretches.entry, row + stretches.exit + 1
        changes = (np.bincount(at, minlength=strata * states * (ages + 1)) for at in (begin, end))
        come, gone = changes
        held = np.cumsum((come - gone).reshape(strata, states, ages + 1), axis=2)
        return cls(held[:, :, :-1], begin, end, stretches.unit)


class _Table(NamedTuple):
    """The strata and ages with an event: at risk and events by state (cells x states)."""

    stratum: np.ndarray
    age: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray

    def shares(self, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Expected share of each state in a cell's events, its events, and its hazard."""
        weight = self.at_risk * np.exp(beta)
        whole, total = weight.sum(axis=1), self.events.sum(axis=1)
        return weight / whole[:, None], total, total / whole


def fit_states(sets: RiskSets, failures: Failures) -> Hazards | None:
    """Maximum partial likelihood of the states, all failures counting (Andersen & Gill 1982).

    Only states with a failure take part.

    Returns:
        None where there are not two of them, or where a state without company in every stratum
        leaves the likelihood without a finite maximum.
    """
    strata, states, ages = sets.at_risk.shape
    present = np.flatnonzero(np.bincount(failures.state, minlength=states))
    if len(present) < 2:
        return None
    cell = (failures.stratum * ages + failures.age) * states + failures.state
    happened = np.bincount(cell, minlength=strata * ages * states).reshape(strata, ages, states)
    stratum, age = np.nonzero(happened.any(axis=2))
    at_risk = sets.at_risk[stratum, :, age][:, present].astype(float)
    table = _Table(stratum, age, at_risk, happened[stratum, age][:, present].astype(float))
    beta = np.zeros(len(present))
    for _ in range(50):
        score, information = _derivatives(table, beta)
        score, information = score[1:], information[1:, 1:]
        rank = np.linalg.matrix_rank(information, tol=1e-9 * max(1.0, information.max()))
        if rank < len(present) - 1:
            return None
        step = np.linalg.solve(information, score)
        beta[1:] += np.clip(step, -2, 2)
        if np.abs(beta).max() > 15:
            return None
        if np.abs(step).max() < 1e-10:
            break
    residuals = _residuals(sets, failures, present, table, beta)
    inverse = np.linalg.inv(information)
    meat = residuals @ residuals.T
    return Hazards(present, beta, np.pad(inverse @ meat @ inverse, ((1, 0), (1, 0))))


def _derivatives(table: _Table, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    share, total, _ = table.shares(beta)
    expected = total[:, None] * share
    score = (table.events - expected).sum(axis=0)
    return score, np.diag(expected.sum(axis=0)) - share.T @ expected


def _residuals(
    sets: RiskSets, failures: Failures, present: np.ndarray, table: _Table, beta: np.ndarray
) -> np.ndarray:
    """Each unit's score but for the reference (states - 1 x units).

    Its events less what the fitted hazard expected of its stretches, which is the difference of a
    running sum over ages at their two ends.
    """
    strata, states, ages = sets.at_risk.shape
    share, _, hazard = table.shares(beta)
    cell = np.full((strata, ages), -1)
    cell[table.stratum, table.age] = np.arange(len(hazard))
    at = cell[failures.stratum, failures.age]
    units = int(sets.unit.max()) + 1
    rows = []
    for column in range(1, len(present)):
        due = np.zeros((strata, states, ages + 1))
        for place, state in enumerate(present):
            lean = float(place == column) - share[:, column]
            due[table.stratum, state, table.age + 1] = np.exp(beta[place]) * hazard * lean
        running = np.cumsum(due, axis=2).reshape(-1)
        expected = np.bincount(sets.unit, running[sets.end] - running[sets.begin], units)
        own = (failures.state == present[column]) - share[at, column]
        rows.append(np.bincount(failures.unit, own, units) - expected)
    return np.array(rows)
