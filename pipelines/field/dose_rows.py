"""Figure 10: unprotected days by the value of an analyte, and the regression on them.

Belongs here: rows of sites, values, families and age bands, and Poisson regression. Does not belong
here: the curve (`dose_curve`), the step (`dose_step`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.doses import Dose, dosed_days, dosed_failures
from pipelines.field.groups import of_event
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
    """Unprotected days with a known value, their failures, and how many units had such days."""

    days: pl.DataFrame
    failures: pl.DataFrame
    units: int


def unprotected(context: FieldContext, dose: Dose) -> Unprotected:
    """Days and failures on unprotected days with a known value."""
    known_value = pl.coalesce("value", pl.when(pl.col("bound") <= dose.limit).then("bound"))
    known = ~pl.col("protected") & known_value.is_not_null()
    spans = dosed_days(context, dose, banded=True).filter(known).with_columns(value=known_value)
    keys = ["site", "value", "family", "age"]
    days = (
        spans.group_by(keys)
        .agg(years=(pl.col("exit") - pl.col("entry")).sum() / DAYS_PER_YEAR)
        .sort(keys)
    )
    kind = ("cause_class", "water_related")
    placed = dosed_failures(context, dose).filter(known)
    placed = placed.select("site", "family", *kind, value=known_value, age="band")
    return Unprotected(days, placed, spans["unit"].n_unique())


def dosed_rows(cells: Unprotected, event: str) -> Dosed:
    """Those days with the failures of one event beside them."""
    days, placed, _ = cells
    keys = ["site", "value", "family", "age"]
    counted = placed.filter(of_event(event)).group_by(keys).agg(y=pl.len())
    both = days.join(counted, on=keys, how="left", maintain_order="left")
    dummies = [np.ones(both.height)]
    for name in ("family", "age"):
        for level in sorted(both[name].unique())[1:]:
            dummies.append((both[name] == level).to_numpy().astype(float))
    return Dosed(
        both["value"].to_numpy(),
        both["years"].to_numpy(),
        both["y"].fill_null(0).to_numpy().astype(float),
        both["site"].rank("dense").to_numpy().astype(int) - 1 if both.height else np.zeros(0, int),
        np.column_stack(dummies),
    )


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
