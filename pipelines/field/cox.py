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
import polars as pl


class Hazards(NamedTuple):
    """Log hazard ratios to the first state, with their covariance clustered by unit."""

    log_ratios: np.ndarray
    covariance: np.ndarray


class _Stratum(NamedTuple):
    ages: np.ndarray  # with an event
    at_risk: np.ndarray  # ages x states
    events: np.ndarray  # ages x states


def fit_states(
    stretches: pl.DataFrame, events: pl.DataFrame, states: int, *, units: int
) -> Hazards | None:
    """Maximum partial likelihood of the states, all failures counting (Andersen & Gill 1982).

    Args:
        stretches: stratum, state (0 to states - 1), unit (0 to units - 1), entry, exit (ages, both
            included).
        events: stratum, state, unit, age.
        states: how many; 0 is the reference.
        units: how many.

    Returns:
        None where a state without any event, or without company in every stratum, leaves the
        likelihood without a finite maximum.
    """
    strata = [
        (name, *_stratum(part, events.filter(pl.col("stratum") == name), states))
        for (name,), part in stretches.partition_by("stratum", as_dict=True).items()
    ]
    tables = [table for _, _, table in strata]
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
    residuals = np.zeros((units, states))
    for name, part, table in strata:
        own = events.filter(pl.col("stratum") == name)
        _add_residuals(residuals, part, own, table, beta)
    inverse = np.linalg.inv(information)
    meat = residuals[:, 1:].T @ residuals[:, 1:]
    return Hazards(beta, np.pad(inverse @ meat @ inverse, ((1, 0), (1, 0))))


def _stratum(
    part: pl.DataFrame, events: pl.DataFrame, states: int
) -> tuple[pl.DataFrame, _Stratum]:
    ages = events["age"].unique().sort().to_numpy()
    at_risk = np.zeros((len(ages), states))
    happened = np.zeros((len(ages), states))
    for state in range(states):
        own = part.filter(pl.col("state") == state)
        entries, exits = (np.sort(own[name].to_numpy()) for name in ("entry", "exit"))
        at_risk[:, state] = np.searchsorted(entries, ages, "right") - np.searchsorted(
            exits, ages, "left"
        )
        failed = events.filter(pl.col("state") == state)["age"].to_numpy()
        happened[:, state] = np.bincount(np.searchsorted(ages, failed), minlength=len(ages))
    return part, _Stratum(ages, at_risk, happened)


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
    part: pl.DataFrame,
    events: pl.DataFrame,
    table: _Stratum,
    beta: np.ndarray,
) -> None:
    """Adds each unit's score: its events less what the fitted hazard expected of its stretches."""
    share, total = _shares(table, beta)
    hazard = total / (table.at_risk * np.exp(beta)).sum(axis=1)
    # What one stretch expects is a difference of these running sums at its two ends.
    base = np.concatenate([[0.0], np.cumsum(hazard)])
    mixed = np.vstack([np.zeros(len(beta)), np.cumsum(share * hazard[:, None], axis=0)])
    state, unit = part["state"].to_numpy(), part["unit"].to_numpy()
    begin = np.searchsorted(table.ages, part["entry"].to_numpy(), "left")
    end = np.searchsorted(table.ages, part["exit"].to_numpy(), "right")
    weight = np.exp(beta)[state]
    for column in range(1, len(beta)):
        own = np.where(state == column, base[end] - base[begin], 0.0)
        expected = weight * (own - (mixed[end, column] - mixed[begin, column]))
        residuals[:, column] -= np.bincount(unit, expected, minlength=len(residuals))
        at = np.searchsorted(table.ages, events["age"].to_numpy())
        happened = (events["state"].to_numpy() == column) - share[at, column]
        residuals[:, column] += np.bincount(
            events["unit"].to_numpy(), happened, minlength=len(residuals)
        )
