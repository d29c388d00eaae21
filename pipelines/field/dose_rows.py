"""Figure 10: unprotected days by the value of an analyte, and the regression on them.

Belongs here: rows of sites, values, families and age bands, and Poisson regression. Does not belong
here: the curve (`dose_curve`), the step (`dose_step`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import BANDS
from pipelines.field.doses import Dose, Laid, days_at, failures_at, families, values_of
from pipelines.field.happened import which_are
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.slices import ALL, LABELS

ROUNDS = 60


class Alike(NamedTuple):
    """Rows of one value, family and age band, whatever their site: one element such a cell.

    row: the cell of each row.
    """

    row: np.ndarray
    value: np.ndarray
    years: np.ndarray
    covariates: np.ndarray


@dataclass(frozen=True)
class Dosed:
    """Unprotected days with a known value: one element a site, value, family and age band.

    covariates: rows x dummies of family and age band, with the intercept first. known: the cells of
    the rows, where they are at hand.
    """

    value: np.ndarray
    years: np.ndarray
    failures: np.ndarray
    site: np.ndarray
    covariates: np.ndarray
    known: Alike | None = None

    @cached_property
    def cells(self) -> Alike:
        """The rows without their sites, of which a regression needs the sums alone."""
        if self.known is not None:
            return self.known
        key = np.column_stack([self.value, self.covariates])
        every, row = np.unique(key, axis=0, return_inverse=True)
        row = row.reshape(-1)
        return Alike(row, every[:, 0], np.bincount(row, self.years), every[:, 1:])

    @cached_property
    def happened(self) -> np.ndarray:
        """The failures of each cell."""
        sums: np.ndarray = np.bincount(self.cells.row, self.failures, len(self.cells.value))
        return sums


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
    order, and their cells; the element and the row of each failure on them, and how many units had
    such days."""

    value: np.ndarray
    years: np.ndarray
    site: np.ndarray
    covariates: np.ndarray
    cells: Alike
    place: np.ndarray
    row: np.ndarray
    units: int


def unprotected(context: FieldContext, dose: Dose) -> Unprotected:
    """Days and failures on unprotected days with a known value."""
    watched, failed = (
        at.only(~at.protected & ~np.isnan(at.value))
        for at in (days_at(context, dose, banded=True), failures_at(context, dose))
    )
    values, rank = values_of(context, dose)
    shape = (len(values), len(families(context)), len(BANDS))
    key, of_failure = (_keys(at.laid, rank, shape) for at in (watched, failed))
    order = np.argsort(key, kind="stable")  # they stand by site: sorting them takes little
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    days = np.add.reduceat(watched.laid.days[order], first) if len(first) else np.zeros(0)
    key = key[order[first]]
    place = np.minimum(np.searchsorted(key, of_failure), max(len(key) - 1, 0))
    there = np.flatnonzero(key[place] == of_failure) if len(key) else np.zeros(0, np.int64)
    site, number = np.divmod(key, max(int(np.prod(shape)), 1))
    kinds, row = np.unique(number, return_inverse=True)
    value, family, band = np.unravel_index(kinds, shape) if len(kinds) else (kinds,) * 3
    dummies = [np.ones(len(kinds))]
    for levels in (family, band):
        dummies += [(levels == level).astype(float) for level in np.unique(levels)[1:]]
    covariates, years = np.column_stack(dummies), days * (1 / DAYS_PER_YEAR)
    return Unprotected(
        values[value[row]],
        years,  # as polars divides, to the last digit
        np.cumsum(np.diff(site, prepend=site[:1]) != 0),
        covariates[row],
        Alike(row, values[value], np.bincount(row, years), covariates),
        place[there],
        failed.laid.row[there],
        int(np.count_nonzero(np.bincount(watched.laid.unit))),
    )


def _keys(laid: Laid, rank: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Site, value, family and band of each, whose value is known, as one number."""
    of_site = laid.site * shape[0] + rank[laid.sample]
    key: np.ndarray = (of_site * shape[1] + laid.family) * shape[2] + laid.age
    return key


def dosed_rows(context: FieldContext, cells: Unprotected, event: str) -> Dosed:
    """Those days with the failures of one event beside them."""
    own = cells.place[which_are(context, event)[cells.row]]
    failures = np.bincount(own, minlength=len(cells.years)).astype(float)
    return Dosed(cells.value, cells.years, failures, cells.site, cells.covariates, cells.cells)


def poisson_fit(
    design: np.ndarray, failures: np.ndarray, years: np.ndarray
) -> tuple[np.ndarray, np.ndarray] | None:
    """Terms and inverse information of a Poisson regression; None where it does not settle."""
    beta = np.zeros(design.shape[1])
    beta[0] = np.log(max(failures.sum(), 0.5) / years.sum())

    def at(terms: np.ndarray) -> tuple[float, np.ndarray]:
        """The likelihood, and what is to be expected."""
        line = np.clip(design @ terms, -30, 30)
        mean = years * np.exp(line)
        return float((failures * line - mean).sum()), mean

    reached, mean = at(beta)
    for _ in range(ROUNDS):
        information = design.T @ (design * mean[:, None])
        information += 1e-9 * np.trace(information) * np.eye(len(beta))
        step = np.linalg.solve(information, design.T @ (failures - mean))
        after, mean = at(beta + step)
        while after < reached - 1e-12 and np.abs(step).max() > 1e-9:
            step = step / 2
            after, mean = at(beta + step)
        beta = beta + step
        # A level without a failure has no finite term: its likelihood settles all the same.
        if abs(after - reached) < 1e-9 * (1 + abs(after)):
            return beta, np.linalg.inv(information)
        reached = after
    return None
