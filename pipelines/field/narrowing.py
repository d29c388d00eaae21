"""A context narrowed to families, cause classes or a stretch of the calendar.

Belongs here: which rows are left. Does not belong here: conditions in words (`selection`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import polars as pl

from pipelines.field.context import FieldContext


def narrow(
    context: FieldContext,
    *,
    families: Sequence[str] = (),
    classes: Sequence[str] = (),
    since: date | None = None,
    until: date | None = None,
) -> FieldContext:
    """The same, for some families, failures of some classes, and days in [since, until)."""
    units, failures, states = context.units, context.failures, context.states
    before, repairs, waters = context.before, context.repairs, context.waters
    spans = context.spans
    competing = context if classes and context.competing is None else context.competing
    if competing is not None:
        competing = narrow(competing, families=families, since=since, until=until)
    if families:
        wanted = pl.col("family").is_in(list(families))
        units, failures, before, states, repairs, waters = (
            frame.filter(wanted) for frame in (units, failures, before, states, repairs, waters)
        )
        spans = spans.join(units.select("unit"), on="unit", how="semi")
    if classes:
        of_class = pl.col("cause_class").is_in(list(classes))
        failures, before, repairs = (
            frame.filter(of_class) for frame in (failures, before, repairs)
        )
    if since is not None:
        earlier = failures.filter(pl.col("failed_on") < since)
        before = pl.concat([before, earlier], how="diagonal_relaxed")
        failures = failures.filter(pl.col("failed_on") >= since)
    if until is not None:
        failures = failures.filter(pl.col("failed_on") < until)
    spans = _clipped(spans, since, until)
    return replace(
        context,
        units=units,
        failures=failures,
        states=states,
        doubtful=context.doubtful.join(units, on="serial", how="semi"),
        before=before,
        since=since,
        until=until,
        repairs=repairs,
        chosen=tuple(classes) or context.chosen,
        competing=competing,
        waters=waters,
        spans=spans,
    )


def _clipped(spans: pl.DataFrame, since: date | None, until: date | None) -> pl.DataFrame:
    """The spans within [since, until)."""
    if since is not None:
        late = (pl.lit(since) - pl.col("from_on")).dt.total_days().clip(lower_bound=0)
        spans = spans.with_columns(
            from_on=pl.max_horizontal("from_on", pl.lit(since)), entry=pl.col("entry") + late
        )
    if until is not None:
        early = (pl.col("until_on") - pl.lit(until)).dt.total_days().clip(lower_bound=0)
        spans = spans.with_columns(
            until_on=pl.min_horizontal("until_on", pl.lit(until)), exit=pl.col("exit") - early
        )
    return spans.filter(pl.col("entry") < pl.col("exit"))
