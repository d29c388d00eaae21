"""Columns of a design that are combinations of others, and what the data do not tell of terms.

Belongs here: that algebra on what columns share. Does not belong here: any design or fit
(`adjustment`, `poisson_regression`).
"""

from __future__ import annotations

import numpy as np


def independent(shared: np.ndarray) -> np.ndarray:
    """Columns that are no combination of those before them, in their order.

    By Cholesky's steps on the counts of rows that columns share, which are whole numbers.
    """
    kept: list[int] = []
    rest = shared.copy()  # of each column, what those kept leave of it
    for column in range(len(shared)):
        left = rest[column, column]
        if left > 1e-8 * max(shared[column, column], 1.0):
            kept.append(column)
            rest -= np.outer(rest[:, column], rest[column]) / left
    return np.array(kept)


def not_seen(shared: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Orthonormal columns that span all terms of which no cell's row tells anything.

    Each column that is not kept is a combination of those that are.
    """
    beside = np.setdiff1d(np.arange(len(shared)), kept)
    together = np.zeros((len(shared), len(beside)))
    together[kept] = -np.linalg.solve(shared[np.ix_(kept, kept)], shared[np.ix_(kept, beside)])
    together[beside, np.arange(len(beside))] = 1
    spanning: np.ndarray = np.linalg.qr(together)[0]
    return spanning
