"""The part of the fleet that meets conditions on units, days and failures.

Belongs here: marking the days and failures that meet all of them. Does not belong here: reading
conditions (`conditions`), what dimensions are (`dimensions`), any figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta

import polars as pl

from pipelines.field.conditions import Condition, serial_key
from pipelines.field.context import UNKNOWN, FieldContext
from pipelines.field.dimensions import (
    COLUMN_OF,
    OF_UNIT,
    need_of,
    split_bands,
    split_months,
)
from pipelines.units.unit_dimensions import NO_LOT, letters_of, numbers_of
from schemas import codes


def mark_days(context: FieldContext, conditions: Sequence[Condition]) -> pl.DataFrame:
    """The spans of the context, split where a condition changes, with `inside`.

    Failures' own conditions do not part days. Returns the columns of `FieldContext.spans` and
    inside: whether all conditions on unit and day hold.
    """
    own = [condition for condition in conditions if not condition.of_failure]
    spans = context.spans
    names = {condition.name for condition in own}
    if "age" in names:
        spans = split_bands(spans).rename({"age": "band"})
    if names & {"season", "month_of_year", "year"}:
        spans = split_months(spans)
    for condition in own:
        if condition.name == "failed_on":
            for one in condition.alternatives:
                spans = _split_at_days(spans, one)
    of_unit = context.units.select("unit", *OF_UNIT, "shipped_on", watched="watched_from").rename(
        {"entry": "entered"}
    )
    spans = spans.join(of_unit, on="unit", maintain_order="left")
    if names & set(codes.LIMITED_ANALYTES):
        spans = spans.join(context.grounds.samples, on="sample", how="left", maintain_order="left")
    held = [_holds(condition, day="from_on") for condition in own]
    inside = pl.all_horizontal(held) if held else pl.lit(True)
    return spans.select(*context.spans.columns, inside=inside.fill_null(False)).sort(
        "serial", "entry"
    )


def mark_failures(context: FieldContext, conditions: Sequence[Condition]) -> pl.Series:
    """Which of the context's failures meet all conditions."""
    failures = context.failures.join(
        context.units.select("unit", "shipped_on", watched="watched_from"),
        on="unit",
        how="left",
        maintain_order="left",
    )
    if {c.name for c in conditions} & set(codes.LIMITED_ANALYTES):
        failures = failures.join(
            context.grounds.samples, on="sample", how="left", maintain_order="left"
        )
    held = [_holds(condition, day="failed_on") for condition in conditions]
    inside = pl.all_horizontal(held) if held else pl.lit(True)
    return failures.select(inside.fill_null(False).alias("inside"))["inside"]


def _holds(condition: Condition, *, day: str) -> pl.Expr:
    """Whether a row of days or of failures meets a condition; `day` is the column of its day."""
    name, several = condition.name, condition.alternatives
    if len(several) > 1:
        return pl.any_horizontal(_holds(one, day=day) for one in several)
    (condition,) = several
    if name == "need":
        return pl.any_horizontal(
            need_of(pl.col("needs")).list.contains(value) for value in condition.values
        )
    if name == "failed_on":
        return _between(pl.col(day), condition, lambda end: pl.lit(date.fromisoformat(end)))
    column = {"clock_start": "watched"}.get(name, COLUMN_OF.get(name, name))
    if not condition.is_range:
        return pl.col(column).is_in(list(condition.values))
    if name in ("shipped_on", "clock_start"):
        return _between(pl.col(column), condition, lambda end: pl.lit(date.fromisoformat(end)))
    if name in codes.LIMITED_ANALYTES:
        return _between(pl.col(column), condition, lambda end: pl.lit(float(end)))
    if name in ("serial", "lot"):
        of_lot = pl.lit(True) if name == "serial" else pl.col(column) != NO_LOT
        return of_lot & _between_serials(pl.col(column), condition)
    # Of quarters and years: what is not known lies in none of them.
    return (pl.col(column) != UNKNOWN) & _between(pl.col(column), condition, pl.lit)


def _between(value: pl.Expr, condition: Condition, read: Callable[[str], pl.Expr]) -> pl.Expr:
    held = value.is_not_null()
    if condition.low:
        held = held & (value >= read(condition.low))
    if condition.high:
        held = held & (value <= read(condition.high))
    return held


def _between_serials(value: pl.Expr, condition: Condition) -> pl.Expr:
    """As lots compare: by their text without digits first, then by their numbers."""
    key = pl.concat_str([letters_of(value.str.to_uppercase()), numbers_of(value)], separator="\t")
    held = value.is_not_null()
    if condition.low:
        held = held & (key >= "\t".join(serial_key(condition.low)))
    if condition.high:
        held = held & (key <= "\t".join(serial_key(condition.high)))
    return held


def _split_at_days(spans: pl.DataFrame, condition: Condition) -> pl.DataFrame:
    """Spans cut at the first day of a range of days and at the day after its last."""
    edges = [date.fromisoformat(condition.low)] if condition.low else []
    if condition.high:
        edges.append(date.fromisoformat(condition.high) + timedelta(days=1))
    for edge in edges:
        cut = pl.lit(edge)
        crossed = (pl.col("from_on") < cut) & (cut < pl.col("until_on"))
        before = (cut - pl.col("from_on")).dt.total_days()
        first = spans.filter(crossed).with_columns(
            until_on=cut, exit=pl.col("entry") + before, last=pl.lit(False)
        )
        second = spans.filter(crossed).with_columns(from_on=cut, entry=pl.col("entry") + before)
        spans = pl.concat([spans.filter(~crossed), first, second])
    return spans


def select(context: FieldContext, conditions: Sequence[Condition]) -> FieldContext:
    """The part of the fleet, its days and its failures that meets all conditions.

    Where conditions part days, units may have several stretches of age; a unit that failed before
    or between them is no longer at risk of a first failure.
    """
    if not conditions:
        return context
    marked = mark_days(context, conditions)
    inside = marked.filter("inside").drop("inside")
    whole = all(condition.of_unit or condition.of_failure for condition in conditions)
    units = context.units.join(inside.select("unit").unique(), on="unit", how="semi")
    if whole:  # units that nobody watched stay, so that their groups do
        held = [_holds(one, day="watched") for one in conditions if one.of_unit]
        of_unit = context.units.rename({"entry": "entered", "watched_from": "watched"})
        marked = of_unit.with_columns(inside=pl.all_horizontal(held or [pl.lit(True)]))
        units = context.units.filter(marked["inside"])
    return _within(context, conditions, units, inside, by_day=not whole or context.by_day)


def _within(
    context: FieldContext,
    conditions: Sequence[Condition],
    units: pl.DataFrame,
    spans: pl.DataFrame,
    *,
    by_day: bool,
) -> FieldContext:
    met = mark_failures(context, conditions)
    own = [condition for condition in conditions if condition.of_failure]
    of_kind = mark_failures(context, own)
    failures = context.failures.filter(met)
    elsewhere = context.failures.filter(of_kind & ~met).join(
        units.select("unit"), on="unit", how="semi"
    )
    of_class = [condition for condition in own if condition.name == "cause_class"]
    classes = [
        word
        for word in (of_class[0].values if of_class else ())
        if all(word in condition.values for condition in of_class)
    ]
    return replace(
        context,
        units=units,
        failures=failures,
        before=pl.concat([context.before, elsewhere]),
        states=context.states.join(units.select("unit"), on="unit", how="semi"),
        doubtful=context.doubtful.join(units.select("serial"), on="serial", how="semi"),
        repairs=_repairs_within(context, units, own),
        waters=_waters_within(context, spans)
        if by_day
        else context.waters.join(units.select("unit"), on="unit", how="semi"),
        spans=spans,
        by_day=by_day,
        chosen=tuple(classes) or context.chosen,
        competing=_competing(context, conditions) if of_class else context.competing,
    )


def _competing(context: FieldContext, conditions: Sequence[Condition]) -> FieldContext:
    """The same with the failures of all classes, against which the chosen ones compete."""
    return select(context, [one for one in conditions if one.name != "cause_class"])


def _repairs_within(
    context: FieldContext, units: pl.DataFrame, own: Sequence[Condition]
) -> pl.DataFrame:
    repairs = context.repairs.join(units.select("serial"), on="serial", how="semi")
    for condition in own:
        if condition.name in repairs.columns:
            repairs = repairs.filter(pl.col(condition.name).is_in(list(condition.values)))
    return repairs


def _waters_within(context: FieldContext, spans: pl.DataFrame) -> pl.DataFrame:
    """The stretches of the waters within the spans."""
    waters = context.waters.select(
        "unit", pl.exclude("unit", "entry", "exit"), begins="entry", ends="exit"
    )
    both = spans.select("unit", "entry", "exit").join(waters, on="unit")
    first, last = pl.max_horizontal("entry", "begins"), pl.min_horizontal("exit", "ends")
    return (
        both.with_columns(entry=first, exit=last)
        .filter(pl.col("entry") < pl.col("exit"))
        .select(context.waters.columns)
        .sort("serial", "entry")
    )
