"""Figures 3 and 4: whether leaving the watch tells something of the units that leave.

Belongs here: units with longer cover against those with shorter. Does not belong here: the curves
that rest on it (`standard_curves`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.comparison import wald_p
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import failure_values
from pipelines.field.happened import of_event
from pipelines.field.poisson import DAYS_PER_YEAR, mantel_haenszel
from pipelines.field.risk_sets import MONTH_DAYS
from pipelines.field.slices import ALL, LABELS, thin
from pipelines.field.unit_days import split_days
from schemas import codes

COLUMNS = ("event", "ratio", "low", "high", "p_value", "months")
# A family's units share the months that nearly all of their covers reach: a cover cut short by an
# odd record must not leave the others without a month.
_ODD_COVERS = 0.01


def watch_length(context: FieldContext) -> pl.DataFrame:
    """The rate ratio of units with longer cover to those with shorter ones.

    Longer is above the median of the family's covers, in the months that all share; Mantel and
    Haenszel's over family and age band, Greenland and Robins' limits.
    """
    rows = [_of_event(context, *_parts(context), event) for event in codes.EVENTS]
    labels = {name: pl.lit(ALL) for name in LABELS}
    return pl.DataFrame(
        rows,
        schema={
            "event": pl.String,
            **dict.fromkeys(("ratio", "low", "high", "p_value"), pl.Float64),
            "months": pl.Int64,
            "failures": pl.Int64,
            "units": pl.Int64,
            "note": pl.String,
        },
        orient="row",
    ).select(
        *(word.alias(name) for name, word in labels.items()), *COLUMNS, thin().alias("thin"), "note"
    )


def _parts(context: FieldContext) -> tuple[pl.DataFrame, int]:
    """unit, family, longer; and the months that all covers share."""
    length = (pl.col("coverage_end") - pl.col("watched_from")).dt.total_days()
    watched = context.units.filter(pl.col("watched_days") > 0).with_columns(length=length)
    own = watched.select(
        "unit",
        "family",
        longer=pl.col("length") > pl.col("length").median().over("family"),
        shared=pl.col("length").quantile(_ODD_COVERS, "lower").over("family"),
    )
    least = own["shared"].min()
    months = int(float(str(least)) / MONTH_DAYS) if least is not None else 0
    return own, months


def _of_event(
    context: FieldContext, parts: pl.DataFrame, months: int, event: str
) -> tuple[object, ...]:
    last = int(months * MONTH_DAYS)
    early = context.spans.filter(pl.col("entry") < last).with_columns(
        until_on=pl.min_horizontal(
            "until_on",
            pl.col("from_on") + pl.duration(days=last - pl.col("entry")),
        ),
        exit=pl.min_horizontal("exit", pl.lit(last)),
    )
    keys = ["family", "age", "longer"]
    longer = parts.select("unit", "longer")
    days = split_days(early, context.units, ["family", "age"]).join(longer, on="unit")
    failed = context.failures.filter(of_event(event) & (pl.col("age") < last))
    happened = failure_values(failed, ["family", "age"]).join(longer, on="unit")
    cells = (
        days.group_by(keys)
        .agg(t=pl.col("days").sum() / DAYS_PER_YEAR)
        .join(happened.group_by(keys).agg(y=pl.len()), on=keys, how="left")
        .with_columns(pl.col("y").fill_null(0))
        .sort(keys)
    )
    a, b = (cells.filter(pl.col("longer") == side).drop("longer") for side in (True, False))
    both = a.join(b, on=keys[:2])
    ratio = mantel_haenszel(*(both[name].to_numpy() for name in ("y", "t", "y_right", "t_right")))
    estimates = [float(value) if np.isfinite(value) else None for value in ratio]
    note = None if estimates[0] is not None else "cannot be estimated: one side had no failure"
    return (event, *estimates, wald_p(ratio), months, failed.height, parts.height, note)
