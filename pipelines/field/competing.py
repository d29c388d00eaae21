"""First failures by cause, as competing risks.

Belongs here: the Aalen-Johansen estimator. Does not belong here: one minus Kaplan-Meier, which
overstates an incidence because it takes the other causes for the end of the exposure.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipelines.field.poisson import Z_95

_ROUNDING = 1e-12  # of a sum of shares that comes to 1


class Incidence(NamedTuple):
    """Share that failed of one cause, its standard error and 95 % limits, by group and age."""

    value: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray


def aalen_johansen(at_risk: np.ndarray, events: np.ndarray, of_cause: np.ndarray) -> Incidence:
    """Cumulative incidence of one cause with Aalen's variance and log-log 95 % limits.

    Args:
        at_risk: units at risk by group and age.
        events: first failures of any cause.
        of_cause: those of the cause.

    Limits are NaN where the incidence is 0 or 1. Within a group the incidences of all causes and
    the overall survival add up to 1.

    The variance is the one of Aalen (1978) as in R's cmprsk, its sum over earlier ages of
    (F(t) - F(s))² written out as F(t)² A - 2 F(t) B + C so that running sums do.
    """
    n, d, c = at_risk, events, of_cause
    with np.errstate(divide="ignore", invalid="ignore"):
        after = np.cumprod(np.where(d > 0, 1 - d / n, 1.0), axis=1)
        before = np.concatenate([np.ones((len(n), 1)), after[:, :-1]], axis=1)
        incidence = np.cumsum(np.where(c > 0, before * c / n, 0.0), axis=1)
        incidence = np.where(incidence > 1 - _ROUNDING, 1.0, incidence)
        # After the last unit has failed nothing moves, so the terms that would divide by 0 are 0.
        open_ended = (d > 0) & (n > d) & (n > 1)
        every = np.where(open_ended, d / ((n - 1) * (n - d)), 0.0)
        own = np.where((c > 0) & (n > 1), before**2 * c * (n - c) / (n**2 * (n - 1)), 0.0)
        mixed = np.where(open_ended, before * c * (n - c) / (n * (n - d) * (n - 1)), 0.0)
        variance = (
            incidence**2 * np.cumsum(every, axis=1)
            - 2 * incidence * np.cumsum(incidence * every, axis=1)
            + np.cumsum(incidence**2 * every, axis=1)
            + np.cumsum(own, axis=1)
            - 2 * incidence * np.cumsum(mixed, axis=1)
            + 2 * np.cumsum(incidence * mixed, axis=1)
        )
        error = np.sqrt(np.maximum(variance, 0))
        # log(-log(F)) scale, as R and SAS print it.
        logarithm = np.log(incidence)
        width = np.exp(Z_95 * error / (incidence * np.abs(logarithm)))
        inside = (incidence > 0) & (incidence < 1)
        low = np.where(inside, np.exp(logarithm * width), np.nan)
        high = np.where(inside, np.exp(logarithm / width), np.nan)
    return Incidence(incidence, error, low, high)
