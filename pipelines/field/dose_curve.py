"""Figure 10: the rate along an analyte.

Belongs here: the curve of one analyte and event. Does not belong here: the table (`dose_fits`),
bins (`dose_bins`), where the rate steps (`dose_step`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipelines.field.dose_rows import Dosed, labels_of, poisson_fit
from pipelines.field.doses import Dose
from pipelines.field.poisson import Z_95
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS

CURVE = ("analyte", "event", "value", "rate_per_100", "low", "high")
POINTS, KNOTS = 40, (0.05, 0.275, 0.5, 0.725, 0.95)
_MIDDLE = (0.025, 0.975)
FEWEST_OF_A_CURVE = 10
_HARDLY = 1e6  # greatest to least size of the terms' covariance


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


class Line(NamedTuple):
    """What the curves of all events along one analyte share.

    knots: fewer than 3 where waters are too alike. middle, spread: of the spline's columns over the
    rows. design: cells x terms. low, high: values between which the middle 95 % of the unit-years
    lie.
    """

    knots: np.ndarray
    middle: np.ndarray
    spread: np.ndarray
    design: np.ndarray
    low: float
    high: float


def line_of(data: Dosed) -> Line:
    """The spline of rows; each value's is worked out once."""
    cells = data.cells
    order = np.argsort(cells.value, kind="stable")
    share = np.cumsum(cells.years[order]) / max(cells.years.sum(), 1e-12)
    at = [order[min(int(np.searchsorted(share, q)), len(order) - 1)] for q in (*KNOTS, *_MIDDLE)]
    x = np.log1p(cells.value)
    knots = np.unique(x[at[: len(KNOTS)]])
    low, high = cells.value[at[len(KNOTS) :]].tolist()
    if len(knots) < 3:
        return Line(knots, x, x, x, low, high)
    spline = natural_spline(x, knots)
    rows = spline[cells.row]
    middle, spread = rows.mean(axis=0), np.maximum(rows.std(axis=0), 1e-12)
    design = np.column_stack([cells.covariates, (spline - middle) / spread])
    return Line(knots, middle, spread, design, low, high)


def curve(
    dose: Dose, event: str, data: Dosed, units: int, line: Line | None = None
) -> list[dict[str, object]]:
    """Rows of `CURVE` at 40 values over the middle 95 % of the unit-years; none of few failures.

    `line` is `line_of` the same days, where it is at hand.
    """
    labels = labels_of(dose, event)
    count = int(data.failures.sum())
    if count < FEWEST_OF_A_CURVE:
        return []
    line, cells = line or line_of(data), data.cells
    if len(line.knots) < 3:
        return []
    fit = _fitted(data, line.design)
    if fit is None:
        return []
    beta, bread, scores = fit
    sites = len(scores)
    covariance = bread @ (scores.T @ scores) @ bread * sites / max(sites - 1, 1)
    at = np.linspace(line.low, line.high, POINTS)
    rows = (natural_spline(np.log1p(at), line.knots) - line.middle) / line.spread
    terms = cells.covariates.shape[1]
    weight = cells.years * np.exp(cells.covariates @ beta[:terms])
    mean_row = (weight @ cells.covariates) / weight.sum()
    level = np.log(weight.sum() / cells.years.sum())
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


def _fitted(data: Dosed, design: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Terms, their covariance and the score of each site; None where the fit does not settle.

    On cells, or row by row where the data hardly determine the terms: what is summed up before
    moves the inverse of such an information in its seventh digit.
    """
    from scipy.sparse import csr_array

    row = data.cells.row
    fit = poisson_fit(design, data.happened, data.cells.years)
    if fit is not None and np.linalg.cond(fit[1]) > _HARDLY:
        design, row = design[row], np.arange(len(row))
        fit = poisson_fit(design, data.failures, data.years)
    if fit is None:
        return None
    residual = data.failures - data.years * np.exp(design @ fit[0])[row]
    by_site = csr_array((residual, (data.site, row)), shape=(int(data.site.max()) + 1, len(design)))
    return *fit, by_site @ design
