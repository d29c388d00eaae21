"""Figure 3: how soon units fail for the first time.

Belongs here: the table `survival`. Does not belong here: the estimator (`kaplan_meier`), life fits
(`life_fits`), what first failures are of (`first_causes`), repeat failures (`repeats`).

Another cause does not end the exposure for a first failure of one class, so that one minus survival
is what that class alone would do; the share of units that first failed of it stands in
`first_causes`.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FLEET
from pipelines.field.ends import shown
from pipelines.field.groups import Grouped, Part
from pipelines.field.risk_sets import AgePoints
from pipelines.field.slices import Slice, labelled, thin
from pipelines.units.kaplan_meier import kaplan_meier

SURVIVAL = ("event", "months", "at_risk", "failures", "survival", "low", "high", "shown")
NOBODY = "cannot be estimated, because no unit was watched so long"
NO_LIMITS = "limits cannot be estimated, because no unit or every unit has failed by then"


def events_of(slices: Grouped) -> list[tuple[dict[str, str], str]]:
    """The kinds of failure of a slice: how its rows are labelled, and the kind.

    Any and water-caused ones; each class too, where there is one dimension at most.
    """
    classes = slices.context.classes
    if "cause_class" in slices.dims:
        return [({"event": "any", "cause_class": name}, name) for name in classes]
    kinds = ["any", "water", *(classes if len(slices.dims) < 2 else ())]
    return [({"event": kind}, kind) for kind in kinds]


def survival(slices: Grouped) -> pl.DataFrame:
    """Units without a first failure at whole months 0 to 60, for one slice.

    A unit watched for D days is at risk at ages up to D. By treatment, units enter and leave a
    state as they go (delayed entry).
    """
    dims = slices.dims
    parts: list[Part] = []
    for labels, kind in events_of(slices):
        counts = slices.until(kind).below(slices.grid.ages)
        points = AgePoints.among(counts.events)
        events = counts.events[:, points.ages]
        curve = kaplan_meier(counts.at_risk[:, points.ages], events)
        reaching = counts.at_risk_at_months
        figures = {
            "at_risk": reaching,
            "failures": points.at_months(np.cumsum(events, axis=1)).astype(np.int64),
            "survival": points.at_months(curve.value),
            "low": points.at_months(curve.low),
            "high": points.at_months(curve.high),
            "shown": shown(reaching, slices.units_until(kind)),
        }
        parts.append((labels, figures))
    reached = (pl.col("at_risk") > 0) | (pl.col("survival") == 0)
    rows = slices.rows(parts).with_columns(thin=thin(units="at_risk"))
    rows = blanked(rows, reached, SURVIVAL[4:7], ("low", NO_LIMITS), dims)
    return labelled(rows, dims, SURVIVAL)


def blanked(
    rows: pl.DataFrame,
    reached: pl.Expr,
    figures: tuple[str, ...],
    limit: tuple[str, str],
    dims: Slice,
) -> pl.DataFrame:
    """Blanks the figures where nobody was watched so long, says why, and sorts.

    `limit` is a column of limits, and what to say where it is null.
    """
    bound, why = limit
    order = [FLEET, *dims, *(("event",) if "event" in rows.columns else ()), "months"]
    return rows.with_columns(
        *(pl.when(reached).then(pl.col(name)).alias(name) for name in figures),
        note=pl.when(~reached).then(pl.lit(NOBODY)).when(pl.col(bound).is_null()).then(pl.lit(why)),
    ).sort(order)


def empty(slices: Grouped, columns: tuple[str, ...]) -> pl.DataFrame:
    """No rows, with the columns of a figure: what is left where no failure has a class."""
    kinds: dict[str, pl.DataType] = dict.fromkeys(columns, pl.Float64()) | {
        "event": pl.String(),
        "months": pl.Int64(),
        "at_risk": pl.Int64(),
        "failures": pl.Int64(),
        "shown": pl.Boolean(),
    }
    schema: dict[str, pl.DataType] = {FLEET: pl.Int8()}
    schema |= {name: kinds[name] for name in columns}
    schema |= dict.fromkeys(slices.dims, pl.String())
    return pl.DataFrame(schema=schema)
