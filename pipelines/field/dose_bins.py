"""Figure 10, by bins: failures by how far an analyte of the day is from its limit.

Belongs here: which analytes, families and classes are looked at, and the table `dose_bins`. Does
not belong here: curve and change point (`dose_curve`, `dose_step`).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from typing import NamedTuple

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.groups import of_event
from pipelines.field.rates import COLUMNS as RATES
from pipelines.field.slice_rates import rated_groups
from pipelines.field.slices import ALL, LABELS
from pipelines.units.watch_spans import NO_PRODUCT

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


class Dose(NamedTuple):
    """One analyte with its limit for one family (or `all`), and the events that it is held to."""

    family: str
    analyte: str
    limit: float
    needs: str
    events: tuple[str, ...]


def doses(context: FieldContext) -> list[Dose]:
    """Every analyte that the newest terms limit by a maximum, for each family and for all.

    Families that need treatment; for all of them together the most frequent limit (the lowest of
    those as frequent). Events: water, and the classes of causes that the limit's ability prevents.
    """
    grounds = context.grounds
    present = set(context.units["family"].unique())
    own = grounds.limits.filter(pl.col("family").is_in([*grounds.needing]))
    own = own.filter(pl.col("family").is_in(list(present)))
    pooled = (
        own.group_by("analyte", "limit", "needs")
        .len()
        .sort("len", "limit", descending=[True, False])
        .unique("analyte", keep="first", maintain_order=True)
        .with_columns(family=pl.lit(ALL))
    )
    rows = pl.concat([pooled.select(own.columns), own]).sort("analyte", "family")
    return [
        Dose(family, analyte, limit, needs or "", ("water", *_classes(context, needs)))
        for family, analyte, limit, needs in rows.rows()
    ]


def _classes(context: FieldContext, need: str | None) -> list[str]:
    causes = context.grounds.causes.filter(pl.col("abilities").list.contains(need or ""))
    return sorted(causes["class"].unique())


def families_of(context: FieldContext, dose: Dose) -> list[str]:
    """The families whose units a dose is about."""
    return [*context.grounds.needing] if dose.family == ALL else [dose.family]


def dosed_days(context: FieldContext, dose: Dose) -> pl.DataFrame:
    """The spans of the dose's families with the analyte of the test in force.

    Returns:
        the columns of `FieldContext.spans`, family, site, value and bound (null where not known),
        and protected: whether an installed good system has the limit's ability.
    """
    of_unit = context.units.select("unit", "family", "site")
    families = families_of(context, dose)
    values = context.grounds.samples.select(
        "sample", value=dose.analyte, bound=f"{dose.analyte}_below"
    )
    return (
        context.spans.join(of_unit, on="unit")
        .filter(pl.col("family").is_in(families))
        .join(values, on="sample", how="left")
        .with_columns(protected=protected(context, dose.needs))
    )


def protected(context: FieldContext, need: str) -> pl.Expr:
    """Whether one of the installed good systems of a day has an ability."""
    able = [product for product, does in context.grounds.systems if need in does]
    installed = pl.col("product").str.split("+")
    none = pl.lit(False) & (pl.col("product") == NO_PRODUCT)
    return reduce(lambda held, product: held | installed.list.contains(product), sorted(able), none)


def bin_of(limit: float) -> pl.Expr:
    """The bin of a value, or of a non-detect's bound within the limit; 0 where not known."""
    told = pl.coalesce("value", pl.when(pl.col("bound") <= limit).then("bound"))
    share = pl.when(told == 0).then(0.0).otherwise((told / limit).round(9))
    above = pl.sum_horizontal((share > edge).cast(pl.Int64) for edge in EDGES)
    return pl.when(share.is_not_null()).then(above + 1).otherwise(UNKNOWN_BIN)


def dose_bins(context: FieldContext) -> pl.DataFrame:
    """Rates by bin, on all days and on those that no system protects."""
    parts = [part for dose in doses(context) for part in _of_dose(context, dose)]
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


def _of_dose(context: FieldContext, dose: Dose) -> Iterator[pl.DataFrame]:
    spans = dosed_days(context, dose).with_columns(bin=bin_of(dose.limit))
    where = spans.select("serial", "bin", "protected", age="entry").sort("age")
    failed = context.failures.join(spans.select("unit").unique(), on="unit", how="semi")
    placed = (
        failed.select("unit", "serial", "age", "call", "cause_class", "water_related")
        .with_columns(pl.col("age").cast(pl.Int64))
        .sort("age")
        .join_asof(where, on="age", by="serial", check_sortedness=False)
    )
    events = pl.DataFrame({"event": dose.events})
    for days in DAYS:
        kept = pl.lit(True) if days == "all" else ~pl.col("protected")
        own = (
            spans.filter(kept)
            .group_by("unit", "bin")
            .agg(days=(pl.col("exit") - pl.col("entry")).sum())
        )
        happened = placed.filter(kept)
        counted = (
            pl.concat(
                happened.filter(of_event(event)).with_columns(event=pl.lit(event))
                for event in dose.events
            )
            .group_by("unit", "bin", "event")
            .agg(f=pl.len().cast(pl.Int64))
        )
        table = rated_groups(own, counted, ["bin"], ["event"], events)
        yield _labelled(table, dose, days)


def _labelled(table: pl.DataFrame, dose: Dose, days: str) -> pl.DataFrame:
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
        "days": days,
    }
    floats = ("unit_years", *RATES[3:])
    told = table.with_columns(pl.col("bin").cast(pl.Int64)).join(edges, on="bin", how="left")
    return told.select(
        *(pl.lit(word).alias(name) for name, word in labels.items()),
        event="event",
        limit=pl.lit(dose.limit),
        **{name: pl.col(name) for name in ("bin", "value_from", "value_to", "failures", "units")},
        **{name: pl.when(pl.col(name).is_finite()).then(pl.col(name)) for name in floats},
        thin="thin",
        note="note",
    ).select(*LABELS, *COLUMNS, "thin", "note")
