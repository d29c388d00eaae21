"""Figure 10: unprotected days by the value of an analyte, and the regression on them.

Belongs here: rows of sites, values, families and age bands, and Poisson regression. Does not belong
here: the curve (`dose_curve`), the step (`dose_step`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import BANDS
from pipelines.field.doses import AtDose, Dose, days_at, failures_at, families, happened
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.slices import ALL, LABELS

ROUNDS = 60


class Dosed(NamedTuple):
    """Unprotected days with a known value: one element a site, value, family and age band."""

    value: np.ndarray
    years: np.ndarray
    failures: np.ndarray
    site: np.ndarray
    covariates: np.ndarray  # rows x dummies of family and age band, with the intercept first


def figure_of(parts: list[list[dict[str, object]]], columns: tuple[str, ...]) -> pl.DataFrame:
    """Rows as a frame with the columns of a figure."""
    words = (*LABELS, "analyte", "event", "verdict", "note")
    kinds: dict[str, pl.DataType] = {
        name: pl.String() if name in words else pl.Float64() for name in (*LABELS, *columns, "note")
    }
    kinds |= {"thin": pl.Boolean()}
    kinds |= {"failures": pl.Int64()} if "failures" in columns else {}
    rows = [row for part in parts for row in part]
    return pl.DataFrame(rows, schema=kinds).select(*LABELS, *columns, "thin", "note")


def labels_of(dose: Dose, event: str) -> dict[str, object]:
    """The labels of one dose and event."""
    words: dict[str, object] = dict.fromkeys(LABELS, ALL)
    return words | {
        "by": ALL if dose.family == ALL else "family",
        "family": dose.family,
        "analyte": dose.analyte,
        "event": event,
    }


class Unprotected(NamedTuple):
    """Unprotected days with a known value, one element a site, value, family and age band, in that
    order; the cell and the row of each failure on them, and how many units had such days."""

    value: np.ndarray
    years: np.ndarray
    site: np.ndarray
    covariates: np.ndarray
    cell: np.ndarray
    row: np.ndarray
    units: int


def unprotected(context: FieldContext, dose: Dose) -> Unprotected:
    """Days and failures on unprotected days with a known value."""
    watched, failed = (
        at.only(~at.protected & ~np.isnan(at.value))
        for at in (days_at(context, dose, banded=True), failures_at(context, dose))
    )
    values, sites = np.unique(watched.value), np.unique(watched.laid.site)
    shape = (len(sites), len(values), len(families(context)), len(BANDS))
    keys, inverse = np.unique(_keys(watched, sites, values, shape), return_inverse=True)
    days = np.bincount(inverse, watched.laid.days, minlength=len(keys))
    of_failure = _keys(failed, sites, values, shape)
    there = np.isin(of_failure, keys)
    site, value, family, band = np.unravel_index(keys, shape)
    dummies = [np.ones(len(keys))]
    for levels in (family, band):
        dummies += [(levels == level).astype(float) for level in np.unique(levels)[1:]]
    return Unprotected(
        values[value],
        days * (1 / DAYS_PER_YEAR),  # as polars divides, to the last digit
        site,
        np.column_stack(dummies),
        np.searchsorted(keys, of_failure[there]),
        failed.laid.row[there],
        len(np.unique(watched.laid.unit)),
    )


def _keys(at: AtDose, sites: np.ndarray, values: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Site, value, family and band of each as one number; -1 where site or value is another."""
    if not len(sites):
        return np.full(len(at.value), -1)
    places = []
    for known, own in ((sites, at.laid.site), (values, at.value)):
        place = np.minimum(np.searchsorted(known, own), len(known) - 1)
        places.append(np.where(known[place] == own, place, -1))
    key = np.ravel_multi_index((*np.maximum(places, 0), at.laid.family, at.laid.age), shape)
    return np.where(np.min(places, axis=0) >= 0, key, -1)


def dosed_rows(context: FieldContext, cells: Unprotected, event: str) -> Dosed:
    """Those days with the failures of one event beside them."""
    own = cells.cell[happened(context, event)[cells.row]]
    failures = np.bincount(own, minlength=len(cells.years)).astype(float)
    return Dosed(cells.value, cells.years, failures, cells.site, cells.covariates)


def poisson_fit(
    design: np.ndarray, failures: np.ndarray, years: np.ndarray
) -> tuple[np.ndarray, np.ndarray] | None:
    """Terms and inverse information of a Poisson regression; None where it does not settle."""
    beta = np.zeros(design.shape[1])
    beta[0] = np.log(max(failures.sum(), 0.5) / years.sum())

    def likelihood(terms: np.ndarray) -> float:
        line = np.clip(design @ terms, -30, 30)
        return float((failures * line - years * np.exp(line)).sum())

    reached = likelihood(beta)
    for _ in range(ROUNDS):
        mean = years * np.exp(np.clip(design @ beta, -30, 30))
        information = design.T @ (design * mean[:, None])
        information += 1e-9 * np.trace(information) * np.eye(len(beta))
        step = np.linalg.solve(information, design.T @ (failures - mean))
        after = likelihood(beta + step)
        while after < reached - 1e-12 and np.abs(step).max() > 1e-9:
            step = step / 2
            after = likelihood(beta + step)
        beta = beta + step
        # A level without a failure has no finite term: its likelihood settles all the same.
        if abs(after - reached) < 1e-9 * (1 + abs(after)):
            return beta, np.linalg.inv(information)
        reached = after
    return None
