"""Figure 10, by bins: failures by how far an analyte of the day is from its limit.

Belongs here: the table `dose_bins`. Does not belong here: which analytes, families and classes are
looked at (`doses`), curve and change point (`dose_curve`, `dose_step`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.doses import Dose, dosed_days, dosed_failures, doses
from pipelines.field.groups import of_event
from pipelines.field.rates import COLUMNS as RATES
from pipelines.field.slice_rates import rated_groups
from pipelines.field.slices import ALL, LABELS

COLUMNS = (
    "analyte",
    "event",
    "days",
    "limit",
    "bin",
    "value_from",
    "value_to",
    *RATES,
)
# The shares of the limit at which bins end, the end included; the last has none.
EDGES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 5.0)
BINS = len(EDGES) + 1
UNKNOWN_BIN = 0
DAYS = ("all", "unprotected")


def bin_of(limit: float) -> pl.Expr:
    """The bin of a value, or of a non-detect's bound within the limit; 0 where not known."""
    known_value = pl.coalesce("value", pl.when(pl.col("bound") <= limit).then("bound"))
    share = pl.when(known_value == 0).then(0.0).otherwise((known_value / limit).round(9))
    above = pl.sum_horizontal((share > edge).cast(pl.Int64) for edge in EDGES)
    return pl.when(share.is_not_null()).then(above + 1).otherwise(UNKNOWN_BIN)


def dose_bins(context: FieldContext) -> pl.DataFrame:
    """Rates by bin, on all days and on those that no system protects."""
    parts = [_of_dose(context, dose) for dose in doses(context)]
    empty = pl.DataFrame(
        schema=dict.fromkeys((*LABELS, "analyte", "event", "days", "note"), pl.String)
    )
    if not parts:
        return empty.with_columns(
            pl.lit(None, pl.Float64).alias(name)
            for name in (*COLUMNS, "thin")
            if name not in empty.columns
        )
    return pl.concat(parts).sort("analyte", "family", "event", "days", "bin")


def _of_dose(context: FieldContext, dose: Dose) -> pl.DataFrame:
    # On all days, and on the unprotected ones once more.
    keys = ["unit", "days_of", "bin"]
    own = (
        _of_both(dosed_days(context, dose).with_columns(bin=bin_of(dose.limit)))
        .group_by(keys)
        .agg(days=(pl.col("exit") - pl.col("entry")).sum())
    )
    happened = _of_both(dosed_failures(context, dose).with_columns(bin=bin_of(dose.limit)))
    counted = (
        pl.concat(
            happened.filter(of_event(event)).with_columns(event=pl.lit(event))
            for event in dose.events
        )
        .group_by(*keys, "event")
        .agg(f=pl.len().cast(pl.Int64))
    )
    events = pl.DataFrame({"event": dose.events})
    return _labelled(rated_groups(own, counted, keys[1:], ["event"], events), dose)


def _of_both(rows: pl.DataFrame) -> pl.DataFrame:
    whole, rest = (pl.lit(name).alias("days_of") for name in DAYS)
    return pl.concat(
        [rows.with_columns(whole), rows.filter(~pl.col("protected")).with_columns(rest)]
    )


def _labelled(table: pl.DataFrame, dose: Dose) -> pl.DataFrame:
    low = [None, 0.0, *(edge * dose.limit for edge in EDGES)]
    high = [None, *(edge * dose.limit for edge in EDGES), None]
    edges = pl.DataFrame(
        {
            "bin": range(BINS + 1),
            "value_from": [x if x is None else round(x, 9) for x in low],
            "value_to": [x if x is None else round(x, 9) for x in high],
        },
        schema={"bin": pl.Int64, "value_from": pl.Float64, "value_to": pl.Float64},
    )
    labels = {
        "by": ALL if dose.family == ALL else "family",
        **dict.fromkeys(LABELS[1:], ALL),
        "family": dose.family,
        "analyte": dose.analyte,
    }
    floats = ("unit_years", *RATES[3:])
    with_edges = table.with_columns(pl.col("bin").cast(pl.Int64)).join(edges, on="bin", how="left")
    return with_edges.select(
        *(pl.lit(word).alias(name) for name, word in labels.items()),
        event="event",
        days="days_of",
        limit=pl.lit(dose.limit),
        **{name: pl.col(name) for name in ("bin", "value_from", "value_to", "failures", "units")},
        **{name: pl.when(pl.col(name).is_finite()).then(pl.col(name)) for name in floats},
        thin="thin",
        note="note",
    ).select(*LABELS, *COLUMNS, "thin", "note")
