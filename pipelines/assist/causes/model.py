"""A small model of classes of causes, and how sure it may be.

Belongs here: learning, judging calls that were held out, and the temperature that makes
probabilities honest. Does not belong here: features (`features`), figures of quality (`quality`).

The model is a multinomial logistic regression with a small ridge: each feature adds its weight to
the log-odds of each class, so that what it says can be read off. Its log-odds are divided by one
temperature, which makes the held-out calls as likely as it can (Guo, Pleiss, Sun & Weinberger 2017,
"On Calibration of Modern Neural Networks", section 4.2). A held-out call is judged by a model that
has seen no call of its site, with a temperature of the calls of other folds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipelines.assist.causes.folds import FOLDS

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

RIDGE = 0.3  # one over scikit-learn's C: enough to keep rare words from shouting
MOST_STEPS = 300
TOLERANCE = 1e-4  # the steepest slope that may be left
_NO_GAIN = 64 * np.finfo(float).eps
_NEVER = -30.0  # log-odds of a class that a fold has not seen
_TEMPERATURES = (0.05, 20.0)


@dataclass(frozen=True)
class Judges:
    """One model a fold, which has not seen it, and a last one that has seen all.

    `weights` is (judge, class, feature) and `start` (judge, class): log-odds, the temperature
    already in them.
    """

    weights: np.ndarray
    start: np.ndarray
    temperature: float  # of the last

    def probabilities(self, matrix: csr_matrix, judge: np.ndarray) -> np.ndarray:
        """The probability of each class for each row, by the judge that is named for it."""
        probabilities_of_rows = np.zeros((matrix.shape[0], self.weights.shape[1]))
        for number in range(len(self.weights)):
            rows = np.flatnonzero(judge == number)
            probabilities_of_rows[rows] = _softmax(
                matrix[rows] @ self.weights[number].T + self.start[number]
            )
        return probabilities_of_rows


def train(
    matrix: csr_matrix, label: np.ndarray, fold: np.ndarray, learned: np.ndarray, classes: int
) -> Judges:
    """Learns from calls with a known class.

    Args:
        matrix: features, one row a call.
        label: position of the class; -1 for a call that is judged and not learned from.
        fold: of each call.
        learned: whether the call is learned from.
        classes: how many there are; each must occur.
    """
    usable = learned & (label >= 0)
    fits = [
        _fit(matrix[rows], label[rows], classes)
        for rows in (*(usable & (fold != number) for number in range(FOLDS)), usable)
    ]
    weights, start = (np.stack(arrays) for arrays in zip(*fits, strict=True))
    # Every call that was held out tells of the temperature, learned from or not.
    known = np.flatnonzero(label >= 0)
    raw = Judges(weights, start, 1.0)
    held_out = np.zeros((len(known), classes))
    for number in range(FOLDS):
        rows = fold[known] == number
        held_out[rows] = matrix[known[rows]] @ raw.weights[number].T + raw.start[number]
    heats = [
        temperature(held_out[fold[known] != number], label[known][fold[known] != number])
        for number in range(FOLDS)
    ]
    heats.append(temperature(held_out, label[known]))
    heat = np.array(heats)
    return Judges(weights / heat[:, None, None], start / heat[:, None], heats[-1])


def temperature(log_odds: np.ndarray, label: np.ndarray) -> float:
    """What log-odds are best divided by: it makes the labels as likely as it can.

    Args:
        log_odds: (call, class).
        label: position of the class of each call.
    """
    from scipy.optimize import minimize_scalar

    if not len(label):
        return 1.0
    # What stays the same at every temperature is worked out once.
    below_top = log_odds - log_odds.max(axis=1, keepdims=True)
    own_below_top = float(below_top[np.arange(len(label)), label].mean())

    def surprise(log_heat: float) -> float:
        cooled = 1 / np.exp(log_heat)
        total = np.log(np.exp(below_top * cooled).sum(axis=1)).mean()
        return float(total - own_below_top * cooled)

    minimum = minimize_scalar(surprise, bounds=np.log(_TEMPERATURES), method="bounded")
    return float(np.exp(minimum.x))


def _fit(matrix: csr_matrix, label: np.ndarray, classes: int) -> tuple[np.ndarray, np.ndarray]:
    """Weights (class, feature) and start (class); a class that is not there has no chance."""
    weights, start = np.zeros((classes, matrix.shape[1])), np.full(classes, _NEVER)
    there, place = np.unique(label, return_inverse=True)
    if len(there) < 2:
        start[there] = 0.0
    else:
        weights[there], start[there] = _least_surprise(matrix, place, len(there))
    return weights, start


def _least_surprise(
    matrix: csr_matrix, label: np.ndarray, classes: int
) -> tuple[np.ndarray, np.ndarray]:
    """Weights (class, feature) and start (class) with the least mean surprise and ridge together.

    Every class occurs. The mean is what the steps are measured by, so that the same steps are
    taken for many calls as for few (Hastie, Tibshirani & Friedman 2009, section 4.4, by L-BFGS).
    scikit-learn comes to the same weights to the last digits but one, and takes as long to import
    as a small fleet's figures to work out.
    """
    from scipy.optimize import minimize
    from threadpoolctl import threadpool_limits

    calls, features = matrix.shape
    free = 1 if classes == 2 else classes  # of two classes the one against the other
    is_own = np.zeros((calls, classes))
    is_own[np.arange(calls), label] = 1.0
    by_feature = matrix.T.tocsr()

    def surprise(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights, start = flat[:-free].reshape(features, free), flat[-free:]
        below_top = np.zeros((calls, classes))
        below_top[:, -free:] = matrix @ weights + start
        below_top -= below_top.max(axis=1, keepdims=True)
        chances = np.exp(below_top)
        total = chances.sum(axis=1, keepdims=True)
        chances /= total
        missed = (chances - is_own)[:, -free:] / calls
        own = (below_top * is_own).sum()
        mean = (np.log(total).sum() - own) / calls + 0.5 * RIDGE / calls * (weights**2).sum()
        slope = by_feature @ missed + RIDGE / calls * weights
        return float(mean), np.concatenate([slope.ravel(), missed.sum(axis=0)])

    steps = {"maxiter": MOST_STEPS, "gtol": TOLERANCE, "ftol": _NO_GAIN, "maxls": 50}
    nowhere = np.zeros((features + 1) * free)
    # The matrices are so small that threads of the linear algebra only wait for each other.
    with threadpool_limits(1):
        flat = minimize(surprise, nowhere, jac=True, method="L-BFGS-B", options=steps).x
    # Steps that are cut short cost sharpness, which held-out calls show.
    weights, start = flat[:-free].reshape(features, free).T, flat[-free:]
    if free < classes:
        weights, start = np.vstack([-weights, weights]) / 2, np.concatenate([-start, start]) / 2
    return weights, start


def _softmax(log_odds: np.ndarray) -> np.ndarray:
    raised = np.exp(log_odds - log_odds.max(axis=1, keepdims=True))
    return np.asarray(raised / raised.sum(axis=1, keepdims=True))
