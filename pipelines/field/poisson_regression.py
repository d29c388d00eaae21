"""Poisson regression, with a normal prior on its terms or without one.

Belongs here: the fits and the likelihood-ratio test. Does not belong here: any design.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pipelines.field.laws import chi_square_above

if TYPE_CHECKING:
    from scipy.sparse import csr_array

ROUNDS = 50
_ROUNDS, _SETTLED, _FARTHEST = 100, 1e-8, 300
_SINGULAR, _NEARLY_SINGULAR = 1e-10, 1e-6  # least to greatest size of a term, by rows and squares


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


def unpenalized(
    design: np.ndarray, y: np.ndarray, exposure: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Terms of a regression without a prior, and the inverse of their information.

    Iteratively reweighted least squares from halfway between each count and their mean (McCullagh
    & Nelder 1989), until the deviance settles.
    """
    from scipy.sparse import csr_array
    from scipy.special import xlogy

    sparse = csr_array(design)  # a row is of one level of each kind: most of it is 0
    mean = (y + y.mean()) / 2
    offset = np.log(exposure)
    line, before = np.log(mean), np.inf
    terms, bread = np.zeros(design.shape[1]), np.eye(design.shape[1])
    for _ in range(_ROUNDS):
        terms, bread = _least_squares(sparse, mean, line - offset + (y - mean) / mean)
        line = sparse @ terms + offset
        mean = np.exp(np.clip(line, -_FARTHEST, _FARTHEST))
        deviance = 2 * float((xlogy(y, y / mean) - y + mean).sum())
        if abs(deviance - before) <= _SETTLED:
            break
        before = deviance
    return terms, bread


def _least_squares(
    design: csr_array, weight: np.ndarray, target: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Terms, and the inverse of their information; the least terms where rows do not tell them.

    By the information itself where it is far from singular, since that takes a tenth of the time;
    else by the rows, which tell terms from each other that their squares do not.
    """
    weighted = design.multiply(weight[:, None]).tocsr().T
    try:
        information = (weighted @ design).toarray()
        size = np.diag(np.linalg.cholesky(information))
        if size.min() > _NEARLY_SINGULAR * size.max():
            inverse = np.linalg.inv(information)
            terms = inverse @ (weighted @ target)
            # What rounding has left over of the target is fitted once more.
            terms += inverse @ (weighted @ (target - design @ terms))
            return terms, inverse
    except np.linalg.LinAlgError:
        pass
    root = np.sqrt(weight)
    return _by_rows(design.toarray() * root[:, None], root * target)


def _by_rows(rows: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    q, r = np.linalg.qr(rows)
    size = np.abs(np.diag(r))
    if size.min() > _SINGULAR * size.max():
        inverse = np.linalg.inv(r)
        return inverse @ (q.T @ target), inverse @ inverse.T
    inverse = np.linalg.pinv(rows)
    return inverse @ target, inverse @ inverse.T


def chance_of(statistic: float, terms: int) -> float:
    """p of a likelihood-ratio statistic with so many terms more."""
    return chi_square_above(max(statistic, 0.0), terms)
