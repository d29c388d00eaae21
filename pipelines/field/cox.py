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
    """Log hazard ratios to the first state, with their covariance clustered by unit."""

    log_ratios: np.ndarray
    covariance: np.ndarray


class _Stratum(NamedTuple):
    ages: np.ndarray  # with an event
    at_risk: np.ndarray  # ages x states
    events: np.ndarray  # ages x states


def fit_states(stretches: Stretches, failures: Failures, states: int) -> Hazards | None:
    """Maximum partial likelihood of the states, all failures counting (Andersen & Gill 1982).

    Returns:
        None where a state without any event, or without company in every stratum, leaves the
        likelihood without a finite maximum.
    """
    parts = []
    for stratum in np.unique(failures.stratum):
        own, failed = stretches.stratum == stratum, failures.stratum == stratum
        part = Stretches(*(column[own] for column in stretches))
        happened = Failures(*(column[failed] for column in failures))
        parts.append((part, happened, _stratum(part, happened, states)))
    tables = [table for _, _, table in parts]
    beta = np.zeros(states)
    for _ in range(50):
        score, information = _derivatives(tables, beta)
        score, information = score[1:], information[1:, 1:]
        if np.linalg.matrix_rank(information, tol=1e-9 * max(1.0, information.max())) < states - 1:
            return None
        step = np.linalg.solve(information, score)
        beta[1:] += np.clip(step, -2, 2)
        if np.abs(beta).max() > 15:
            return None
        if np.abs(step).max() < 1e-10:
            break
    residuals = np.zeros((int(stretches.unit.max()) + 1, states))
    for part, happened, table in parts:
        _add_residuals(residuals, part, happened, table, beta)
    inverse = np.linalg.inv(information)
    meat = residuals[:, 1:].T @ residuals[:, 1:]
    return Hazards(beta, np.pad(inverse @ meat @ inverse, ((1, 0), (1, 0))))


def _stratum(part: Stretches, failures: Failures, states: int) -> _Stratum:
    ages = np.unique(failures.age)
    at_risk, events = (np.zeros((len(ages), states)) for _ in range(2))
    for state in range(states):
        own = part.state == state
        entries, exits = np.sort(part.entry[own]), np.sort(part.exit[own])
        come, gone = np.searchsorted(entries, ages, "right"), np.searchsorted(exits, ages, "left")
        at_risk[:, state] = come - gone
        failed = failures.age[failures.state == state]
        events[:, state] = np.bincount(np.searchsorted(ages, failed), minlength=len(ages))
    return _Stratum(ages, at_risk, events)


def _derivatives(tables: list[_Stratum], beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    score = np.zeros(len(beta))
    information = np.zeros((len(beta), len(beta)))
    for table in tables:
        share, total = _shares(table, beta)
        score += (table.events - total[:, None] * share).sum(axis=0)
        information += np.diag(total @ share) - share.T @ (total[:, None] * share)
    return score, information


def _shares(table: _Stratum, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Expected share of each state in the events at each age, and the events in all."""
    weight = table.at_risk * np.exp(beta)
    return weight / weight.sum(axis=1, keepdims=True), table.events.sum(axis=1)


def _add_residuals(
    residuals: np.ndarray,
    part: Stretches,
    failures: Failures,
    table: _Stratum,
    beta: np.ndarray,
) -> None:
    """Adds each unit's score: its events less what the fitted hazard expected of its stretches."""
    share, total = _shares(table, beta)
    hazard = total / (table.at_risk * np.exp(beta)).sum(axis=1)
    # What one stretch expects is a difference of these running sums at its two ends.
    base = np.concatenate([[0.0], np.cumsum(hazard)])
    mixed = np.vstack([np.zeros(len(beta)), np.cumsum(share * hazard[:, None], axis=0)])
    begin = np.searchsorted(table.ages, part.entry, "left")
    end = np.searchsorted(table.ages, part.exit, "right")
    weight = np.exp(beta)[part.state]
    at = np.searchsorted(table.ages, failures.age)
    for column in range(1, len(beta)):
        own = np.where(part.state == column, base[end] - base[begin], 0.0)
        expected = weight * (own - (mixed[end, column] - mixed[begin, column]))
        residuals[:, column] -= np.bincount(part.unit, expected, minlength=len(residuals))
        happened = (failures.state == column) - share[at, column]
        residuals[:, column] += np.bincount(failures.unit, happened, minlength=len(residuals))
