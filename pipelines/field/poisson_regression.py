"""Poisson regression with a normal prior on its terms.

Belongs here: the fit and the likelihood-ratio test. Does not belong here: any design.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

ROUNDS = 50


class Fit(NamedTuple):
    """Terms of a Poisson regression, their covariance, and its log-likelihood."""

    terms: np.ndarray
    covariance: np.ndarray
    likelihood: float


def fitted(
    design: np.ndarray,
    y: np.ndarray,
    years: np.ndarray,
    prior: np.ndarray,
    start: np.ndarray | None = None,
) -> Fit:
    """Newton's method on the penalized likelihood."""
    terms = np.zeros(design.shape[1]) if start is None else start.copy()
    if start is None:
        terms[0] = np.log(y.sum() / years.sum())

    def likelihood(at: np.ndarray) -> float:
        line = np.clip(design @ at, -30, 30)
        return float((y * line - years * np.exp(line)).sum())

    def goal(at: np.ndarray) -> float:
        return likelihood(at) - float((prior * at**2).sum()) / 2

    information = np.eye(len(terms))
    reached = goal(terms)
    for _ in range(ROUNDS):
        mean = years * np.exp(np.clip(design @ terms, -30, 30))
        information = design.T @ (design * mean[:, None]) + np.diag(prior)
        information += 1e-9 * np.eye(len(terms))
        step = np.linalg.solve(information, design.T @ (y - mean) - prior * terms)
        while goal(terms + step) < reached - 1e-9 and np.abs(step).max() > 1e-9:
            step = step / 2
        terms, before = terms + step, reached
        reached = goal(terms)
        if abs(reached - before) < 1e-10 * (1 + abs(reached)):
            break
    return Fit(terms, np.linalg.inv(information), likelihood(terms))


def chance_of(statistic: float, terms: int) -> float:
    """p of a likelihood-ratio statistic with so many terms more."""
    from scipy.stats import chi2

    return float(chi2.sf(max(statistic, 0.0), terms))
