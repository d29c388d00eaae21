"""Figure 3: how soon units fail for the first time, and of what.

Belongs here: the tables `survival`, `weibull` and `first_causes`. Does not belong here: the
estimators (`kaplan_meier`, `weibull`, `competing`), repeat failures (`repeats`).

Another cause does not end the watch for a first failure of one class, so that one minus survival
is what that class alone would do; the share of units that first failed of it stands in
`first_causes`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

from pipelines.field.competing import aalen_johansen
from pipelines.field.context import FLEET, FieldContext, episodes
from pipelines.field.kaplan_meier import kaplan_meier
from pipelines.field.rates import grid
from pipelines.field.risk_sets import (
    MONTH_DAYS,
    at_months,
    at_risk_at_months,
    month_grid,
    risk_table,
)
from pipelines.field.slices import DIMENSIONS, FEWEST_FAILURES, FEWEST_UNITS, Slice, labelled, thin
from pipelines.field.weibull import Fit, Lives, Times, fit_weibull

SURVIVAL = ("event", "months", "at_risk", "failures", "survival", "low", "high")
WEIBULL = (
    "event",
    "shape",
    "shape_low",
    "shape_high",
    "scale_months",
    "scale_low",
    "scale_high",
)
CAUSES = ("months", "at_risk", "incidence", "low", "high")
FEWEST_FOR_A_FIT = 10

_NOBODY = "cannot be estimated, because no unit was watched so long"
_NO_LIMITS = "limits cannot be estimated, because no unit or every unit has failed by then"


def events_of(context: FieldContext, dims: Slice) -> list[str]:
    """The kinds of failure of a slice: any, water-caused and, if not sliced by it, each class."""
    pairs = len(dims) > 1
    return ["any", "water", *(() if pairs or "cause_class" in dims else context.classes)]


def of_event(event: str) -> pl.Expr:
    """The failures that are of a kind."""
    if event == "any":
        return pl.lit(True)
    return pl.col("water_related") if event == "water" else pl.col("cause_class") == event


def until_first(stretches: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Cuts each unit's stretches at its first failure.

    Args:
        stretches: of `context.episodes`.
        failures: serial, age.

    Returns:
        the stretches at risk of a first failure, `exit` at the failure where there is one, and
        `failed`, whether the stretch ends in it.
    """
    first = failures.group_by("serial").agg(failed_at=pl.col("age").min())
    failed = (pl.col("failed_at") <= pl.col("exit")) & (pl.col("failed_at") >= pl.col("entry"))
    return (
        stretches.join(first, on="serial", how="left")
        .filter(pl.col("failed_at").is_null() | (pl.col("failed_at") >= pl.col("entry")))
        .with_columns(exit=pl.min_horizontal("exit", "failed_at"), failed=failed.fill_null(False))
        .drop("failed_at")
    )


def _cut(context: FieldContext, dims: Slice) -> Iterator[tuple[str, str | None, pl.DataFrame]]:
    """The stretches to the first failure of each event and, where sliced by it, each class."""
    stretches = episodes(context, by_state="treatment" in dims)
    classes: list[str | None] = [*context.classes] if "cause_class" in dims else [None]
    # Before a stretch of the calendar begins, a unit may have had its first failure.
    ever = pl.concat([context.before, context.failures])
    for event in events_of(context, dims):
        for name in classes:
            chosen = of_event(event) & (True if name is None else pl.col("cause_class") == name)
            yield event, name, until_first(stretches, ever.filter(chosen))


def survival(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Units without a first failure at whole months 0 to 60, for one slice.

    A unit watched for D days is at risk at ages up to D. By treatment, units enter and leave a
    state as they go (delayed entry).
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    frame = grid(context, tuple(groups[1:]))
    parts = []
    for event, name, cut in _cut(context, dims):
        table = risk_table(cut, cut.filter("failed").select(*groups, age="exit"), groups)
        months = at_risk_at_months(cut, month_grid(frame), groups)
        at = at_months(kaplan_meier(table, groups), months, groups)
        parts.append(at.with_columns(event=pl.lit(event), cause_class=pl.lit(name or "all")))
    if not parts:
        return _nothing(SURVIVAL, dims)
    reached = (pl.col("at_risk") > 0) | (pl.col("survival") == 0).fill_null(False)
    share = pl.when(reached).then(pl.col("survival").fill_null(1.0))
    rows = pl.concat(parts).with_columns(
        pl.col("failures").fill_null(0),
        survival=share,
        low=pl.when(reached).then("low"),
        high=pl.when(reached).then("high"),
        note=pl.when(~reached)
        .then(pl.lit(_NOBODY))
        .when(pl.col("low").is_null())
        .then(pl.lit(_NO_LIMITS)),
    )
    rows = rows.with_columns(thin=thin(units="at_risk")).sort(*_order(dims), "event", "months")
    return labelled(rows, dims, SURVIVAL)


def _order(dims: Slice) -> list[str]:
    return [FLEET, *dims]


def _nothing(columns: tuple[str, ...], dims: Slice) -> pl.DataFrame:
    schema = dict.fromkeys(columns, pl.Float64) | {
        "event": pl.String,
        "months": pl.Int64,
        "at_risk": pl.Int64,
        "failures": pl.Int64,
        "thin": pl.Boolean,
        "note": pl.String,
    }
    wanted = {name: schema[name] for name in (*columns, "thin", "note")}
    empty = pl.DataFrame(schema=wanted | dict.fromkeys(dims, pl.String))
    return labelled(empty, dims, columns)


def weibull(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Weibull fits of the age at the first failure, from 10 failures up, for one slice.

    A failure on the first day, at age 0, counts as some time within that day.
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    frame = grid(context, tuple(groups[1:]))
    rows = []
    for event, name, cut in _cut(context, dims):
        counted = cut.group_by([*groups, "entry", "exit", "failed"]).agg(n=pl.len())
        by_group = counted.partition_by(groups, as_dict=True)
        for group in frame.sort(groups).iter_rows():
            found = _fit(by_group.get(group, counted.clear()))
            rows.append(
                dict(zip(groups, group, strict=True))
                | {"event": event, "cause_class": name or "all"}
                | found
            )
    if not rows:
        return _nothing(WEIBULL, dims)
    table = pl.DataFrame(rows, infer_schema_length=None).with_columns(
        pl.col(WEIBULL[1:]).cast(pl.Float64), pl.col("note").cast(pl.String)
    )
    return labelled(table.sort(*_order(dims), "event"), dims, WEIBULL)


def _fit(lives: pl.DataFrame) -> dict[str, object]:
    failed = lives.filter("failed")
    failures, units = failed["n"].sum(), lives["n"].sum()
    found: dict[str, object] = dict.fromkeys(WEIBULL[1:])
    found["thin"] = bool(failures < FEWEST_FAILURES or units < FEWEST_UNITS)
    if failures < FEWEST_FOR_A_FIT:
        found["note"] = (
            f"cannot be estimated, because there were {failures} first failures of the "
            f"{FEWEST_FOR_A_FIT} that a fit needs"
        )
        return found
    fit = fit_weibull(_lives(lives))
    if fit is None:
        found["note"] = "cannot be estimated, because all failures are at practically one age"
        return found
    names = ("shape", "shape_low", "shape_high", "scale_months", "scale_low", "scale_high")
    return found | dict(zip(names, _in_months(fit), strict=True)) | {"note": None}


def _in_months(fit: Fit) -> tuple[float, ...]:
    return (
        fit.shape,
        fit.shape_low,
        fit.shape_high,
        *(x / MONTH_DAYS for x in (fit.scale, fit.scale_low, fit.scale_high)),
    )


def _lives(lives: pl.DataFrame) -> Lives:
    def times(frame: pl.DataFrame, age: str) -> Times:
        counted = frame.filter(pl.col(age) > 0).group_by(age).agg(pl.col("n").sum()).sort(age)
        return Times(counted[age].to_numpy().astype(float), counted["n"].to_numpy())

    first_day = lives.filter(pl.col("failed") & (pl.col("exit") == 0))["n"].sum()
    within = (np.zeros(1), np.ones(1), np.array([first_day]))
    nobody = (np.zeros(0),) * 3
    return Lives(
        failed=times(lives.filter("failed"), "exit"),
        running=times(lives.filter(~pl.col("failed")), "exit"),
        between=within if first_day else nobody,
        entered=times(lives, "entry"),
    )


def first_causes(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Share of units whose first failure was of each class, at whole months, for one slice.

    Of several classes on the day of a first failure, the class of the first call counts.
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    keys = [*groups, "cause_class"]
    shown = tuple(name for name in DIMENSIONS if name in keys)
    stretches = episodes(context, by_state="treatment" in dims)
    ever = pl.concat([context.before, context.failures])
    cut = until_first(stretches, ever)
    cause = ever.sort("age", "call").unique("serial", keep="first", maintain_order=True)
    failed = cut.filter("failed").join(cause.select("serial", "cause_class"), on="serial")
    failed = failed.select(*keys, age="exit")
    if failed.is_empty():
        return _nothing(CAUSES, shown)
    table = risk_table(cut, failed.select(*groups, "age"), groups)
    counts = failed.group_by([*keys, "age"]).agg(count=pl.len().cast(pl.Int64))
    curve = aalen_johansen(table, counts, groups, "cause_class").drop("error")
    seen = curve.select(keys).unique()
    months = at_risk_at_months(cut, month_grid(seen.select(groups).unique()), groups)
    rows = at_months(curve, seen.join(months, on=groups), keys)
    reached = pl.col("at_risk") > 0
    rows = rows.with_columns(
        incidence=pl.when(reached).then(pl.col("incidence").fill_null(0.0)),
        low=pl.when(reached).then("low"),
        high=pl.when(reached).then("high"),
    )
    first = failed.group_by(keys).agg(total=pl.len())
    rows = rows.join(first, on=keys, how="left").with_columns(
        thin=thin("total", "at_risk"),
        note=pl.when(~reached)
        .then(pl.lit(_NOBODY))
        .when(pl.col("low").is_null())
        .then(pl.lit(_NO_LIMITS)),
    )
    return labelled(rows.sort(*keys, "months"), shown, CAUSES)
