"""Figure 3, by cause: what units fail of first, the causes competing.

Belongs here: the table `first_causes`. Does not belong here: the estimator (`competing`), how soon
units fail (`first_failures`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.competing import aalen_johansen
from pipelines.field.ends import shown
from pipelines.field.first_failures import NO_LIMITS, blanked
from pipelines.field.groups import Grouped, Part, TimeAtRisk, grouped
from pipelines.field.risk_sets import AgePoints
from pipelines.field.slices import ALWAYS, DIMENSIONS, LABELS, Slice, labelled, thin
from pipelines.units.kaplan_meier import kaplan_meier

COLUMNS = ("months", "at_risk", "incidence", "low", "high", "shown")
_NO_LIMITS = (
    "limits cannot be estimated, because no unit or every unit has first failed of it by then"
)


def first_causes(slices: Grouped) -> pl.DataFrame:
    """Share of units whose first failure was of each class, at whole months, for one slice.

    Every group has every class that the fleet has, with a share of 0 where none of its units first
    failed of it; only slices by class that are neither chosen nor always there leave such rows
    out. Of several classes on the day of a first failure, the class of the first call counts. Not
    sliced by class, the share that has failed of any stands beside them, which is what survival
    has lost. Narrowed to some classes, the others compete all the same and are not shown.
    """
    dims, chosen = slices.dims, slices.context.chosen
    if slices.context.competing is not None:
        everything = TimeAtRisk.of(slices.context.competing, by_state="treatment" in dims)
        slices = grouped(everything, dims)
    own_dims = tuple(name for name in dims if name != "cause_class")
    keyed = tuple(name for name in DIMENSIONS if name in {*own_dims, "cause_class"})
    every_class = bool(chosen) or "cause_class" in dims or keyed in ALWAYS
    grid = slices.grid
    first, classes = slices.at_risk.first("any"), slices.at_risk.first_classes
    counts = slices.until("any").below(grid.ages)
    points = AgePoints.among(counts.events)
    at_risk, events = counts.at_risk[:, points.ages], counts.events[:, points.ages]
    survival = kaplan_meier(at_risk, events)
    common = {
        "at_risk": counts.at_risk_at_months,
        "nobody_left": points.at_months(survival.value) == 0,
        "shown": shown(counts.at_risk_at_months, slices.units_until("any")),
    }
    frames = []
    if "cause_class" not in dims and not chosen:
        # Of any cause nothing competes: the share and its limits are those of survival.
        lost = [1 - curve for curve in (survival.value, survival.high, survival.low)]
        whole = slices.rows([({}, common | _at_months(points, events, lost))])
        frames.append(_shown(whole, own_dims))
    parts: list[Part] = []
    for name in chosen or slices.context.classes:
        own = classes == name
        tally = grid.tally(slices.episodes.group[first.failed[own]], first.age[own])
        of_cause = tally[:, points.ages]
        curve = aalen_johansen(at_risk, events, of_cause)
        figures = _at_months(points, of_cause, [curve.value, curve.low, curve.high])
        parts.append(({"cause_class": name}, common | figures))
    rows = slices.rows(parts).filter((pl.col("total") > 0) | every_class)
    frames.append(_shown(rows, keyed))
    return pl.concat(frames).sort(*LABELS, "months")


def _at_months(
    points: AgePoints, events: np.ndarray, curve: list[np.ndarray]
) -> dict[str, np.ndarray]:
    """Failures by each month and in all, and the incidence with its limits."""
    happened = np.cumsum(events, axis=1).astype(np.int64)
    failures = points.at_months(happened)
    total = np.repeat(happened[:, -1:], failures.shape[1], axis=1)
    figures = dict(zip(COLUMNS[2:5], map(points.at_months, curve), strict=True))
    return {"failures": failures, "total": total, **figures}


def _shown(rows: pl.DataFrame, dims: Slice) -> pl.DataFrame:
    rows = rows.with_columns(thin=thin(units="at_risk"))
    reached = (pl.col("at_risk") > 0) | pl.col("nobody_left")
    why = _NO_LIMITS if "cause_class" in dims else NO_LIMITS
    return labelled(blanked(rows, reached, COLUMNS[2:5], ("low", why), dims), dims, COLUMNS)
