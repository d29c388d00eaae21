"""The share of units that have not failed by an age.

Belongs here: the Kaplan-Meier estimator on counted risk sets. Does not belong here: who is at
risk (`risk_sets`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

Z_95 = 1.959963984540054


class Curve(NamedTuple):
    """Estimate, Greenwood's standard error and 95 % limits by group and age.

    Limits are NaN where there are none.
    """

    value: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray


def kaplan_meier(at_risk: np.ndarray, events: np.ndarray) -> Curve:
    """Kaplan-Meier with Greenwood's variance and log-log 95 % limits (groups x ages).

    The limits are those on log(-log S) (Kalbfleisch & Prentice); they do not exist where S is 0
    or 1.
    """
    n, d = at_risk, events
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(np.where(d > 0, 1 - d / n, 1.0), axis=1)
        steps = np.where((d > 0) & (n > d), d / (n * (n - d)), 0.0)
        log_survival = np.log(survival)
        relative = np.sqrt(np.cumsum(steps, axis=1))
        width = np.exp(Z_95 * relative / np.abs(log_survival))
        inside = (survival > 0) & (survival < 1)
        low = np.where(inside, np.exp(log_survival * width), np.nan)
        high = np.where(inside, np.exp(log_survival / width), np.nan)
    return Curve(survival, survival * relative, low, high)
