"""Figure 10: the rate along an analyte.

Belongs here: the curve of one analyte and event. Does not belong here: the table (`dose_fits`),
bins (`dose_bins`), where the rate steps (`dose_step`).
"""

from __future__ import annotations

import numpy as np

from pipelines.field.dose_rows import Dosed, labels_of, poisson_fit
from pipelines.field.doses import Dose
from pipelines.field.poisson import Z_95
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS

CURVE = ("analyte", "event", "value", "rate_per_100", "low", "high")
POINTS, KNOTS = 40, (0.05, 0.275, 0.5, 0.725, 0.95)
FEWEST_OF_A_CURVE = 10


def natural_spline(x: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """A natural cubic spline's columns without the constant: one less than there are knots."""

    def beyond(knot: float) -> np.ndarray:
        rest = np.maximum(x - knots[-1], 0) ** 3
        cubic: np.ndarray = (np.maximum(x - knot, 0) ** 3 - rest) / (knots[-1] - knot)
        return cubic

    last = beyond(knots[-2])
    columns = [x, *(beyond(knot) - last for knot in knots[:-2])]
    scale = max(float(knots[-1] - knots[0]), 1e-9)
    return np.column_stack([columns[0] / scale, *(c / scale**2 for c in columns[1:])])


def curve(dose: Dose, event: str, data: Dosed, units: int) -> list[dict[str, object]]:
    """Rows of `CURVE` at 40 values over the middle 95 % of the unit-years; none of few failures."""
    labels = labels_of(dose, event)
    count = int(data.failures.sum())
    order = np.argsort(data.value, kind="stable")
    share = np.cumsum(data.years[order]) / max(data.years.sum(), 1e-12)
    x = np.log1p(data.value)
    knots = (
        np.unique([x[order][np.searchsorted(share, q)] for q in KNOTS]) if len(x) else np.zeros(0)
    )
    if count < FEWEST_OF_A_CURVE or len(knots) < 3:
        return []
    spline = natural_spline(x, knots)
    middle, spread = spline.mean(axis=0), np.maximum(spline.std(axis=0), 1e-12)
    spline = (spline - middle) / spread
    design = np.column_stack([data.covariates, spline])
    fit = poisson_fit(design, data.failures, data.years)
    if fit is None:
        return []
    beta, bread = fit
    residual = data.failures - data.years * np.exp(design @ beta)
    sites = int(data.site.max()) + 1
    scores = np.column_stack(
        [np.bincount(data.site, column * residual, minlength=sites) for column in design.T]
    )
    covariance = bread @ (scores.T @ scores) @ bread * sites / max(sites - 1, 1)
    low, high = (
        data.value[order][min(int(np.searchsorted(share, q)), len(x) - 1)] for q in (0.025, 0.975)
    )
    at = np.linspace(low, high, POINTS)
    rows = (natural_spline(np.log1p(at), knots) - middle) / spread
    terms = data.covariates.shape[1]
    weight = data.years * np.exp(data.covariates @ beta[:terms])
    mean_row = (weight @ data.covariates) / weight.sum()
    level = np.log(weight.sum() / data.years.sum())
    gradient = np.column_stack([np.tile(mean_row, (POINTS, 1)), rows])
    log_rate = level + rows @ beta[terms:]
    error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", gradient, covariance, gradient), 0))
    return [
        labels
        | {
            "value": float(value),
            "rate_per_100": float(100 * np.exp(rate)),
            "low": float(100 * np.exp(rate - Z_95 * e)),
            "high": float(100 * np.exp(min(rate + Z_95 * e, 30.0))),
            "thin": count < FEWEST_FAILURES or units < FEWEST_UNITS,
            "note": None,
        }
        for value, rate, e in zip(at, log_rate, error, strict=True)
    ]
