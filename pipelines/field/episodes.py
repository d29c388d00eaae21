"""Stretches of age at risk, and the failures within them.

Belongs here: when a unit is at risk within what is looked at. Does not belong here: groups
(`groups`), counts by age (`risk_sets`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FLEET, UNIT_DIMENSIONS, FieldContext


def episodes(context: FieldContext, *, by_state: bool = False) -> pl.DataFrame:
    """Stretches of age at risk.

    One a unit, or one a stretch of a treatment state. Within [since, until) of the context.

    Returns:
        episode (an id), serial, unit, fleet, the unit dimensions, treatment (by state only), entry,
        exit (the last age at which it is at risk, as `risk_sets` wants it) and days.
    """
    return context.once(("episodes", by_state), lambda: _episodes(context, by_state))


def _episodes(context: FieldContext, by_state: bool) -> pl.DataFrame:
    if context.by_day:
        stretches = _joined_spans(context, by_state)
    elif by_state:
        starts = context.units.select("serial", "watched_from")
        stretches = context.states.join(starts, on="serial")
    else:
        stretches = context.units.filter(pl.col("watched_days") > 0).select(
            "serial",
            "unit",
            FLEET,
            *UNIT_DIMENSIONS,
            "watched_from",
            entry=pl.lit(0, pl.Int64),
            exit="watched_days",
            last=pl.lit(True),
        )
    if context.since is not None:
        first = (pl.lit(context.since) - pl.col("watched_from")).dt.total_days()
        stretches = stretches.with_columns(entry=pl.max_horizontal("entry", first))
    if context.until is not None:
        final = (pl.lit(context.until) - pl.col("watched_from")).dt.total_days()
        stretches = stretches.with_columns(
            exit=pl.min_horizontal("exit", final),
            last=pl.col("last") | (final <= pl.col("exit")),
        )
    days = pl.col("exit") - pl.col("entry")
    # On its last day a state has passed to the next one; only an exposure's end counts as reached.
    reached = pl.when(pl.col("last")).then("exit").otherwise(pl.col("exit") - 1)
    return (
        stretches.filter(days > 0)
        .with_columns(days=days, exit=reached)
        .drop("watched_from", "last")
        .with_row_index("episode")
    )


def _joined_spans(context: FieldContext, by_state: bool) -> pl.DataFrame:
    """The spans joined up where nothing but their water or products changes between them."""
    keys = ["unit", *(["treatment"] if by_state else [])]
    apart = (pl.col("entry") != pl.col("exit").shift(1)).fill_null(True).over("unit")
    if by_state:
        apart = apart | (pl.col("treatment") != pl.col("treatment").shift(1)).over(
            "unit"
        ).fill_null(True)
    dims = context.units.select("unit", "serial", FLEET, *UNIT_DIMENSIONS, "watched_from")
    return (
        context.spans.sort("unit", "entry")
        .with_columns(run=apart.cast(pl.Int64).cum_sum().over("unit"))
        .group_by(*keys, "run", maintain_order=True)
        .agg(pl.col("entry").min(), pl.col("exit").max(), pl.col("last").any())
        .drop("run")
        .join(dims, on="unit", maintain_order="left")
        .sort("serial", "entry")
    )


def water_stretches(context: FieldContext) -> pl.DataFrame:
    """The rows of `waters` within [since, until) of the context; exit is half-open."""
    stretches = context.waters
    for bound, edge in (("entry", context.since), ("exit", context.until)):
        if edge is not None:
            began = context.units.select("unit", "watched_from")
            age = (pl.lit(edge) - pl.col("watched_from")).dt.total_days()
            cut = pl.max_horizontal if bound == "entry" else pl.min_horizontal
            stretches = stretches.join(began, on="unit").with_columns(cut(bound, age).alias(bound))
            stretches = stretches.drop("watched_from")
    return stretches.filter(pl.col("entry") < pl.col("exit"))


def failures_of(context: FieldContext, stretches: pl.DataFrame) -> pl.DataFrame:
    """The failures with the `episode` of the stretches (of `episodes`) that each lies in."""
    by_state = "treatment" in stretches.columns
    keys = ["unit", *(["treatment"] if by_state else [])]
    return (
        context.failures.join(stretches.select(*keys, "episode", "entry", "exit"), on=keys)
        .filter((pl.col("age") >= pl.col("entry")) & (pl.col("age") <= pl.col("exit")))
        .drop("entry", "exit")
    )
