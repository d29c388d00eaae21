"""Figure 4: how often, and at what cost, units fail again.

Belongs here: the table `repeat_failures`. Does not belong here: the estimator
(`mean_cumulative`), first failures.
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FLEET, FieldContext, episodes, failures_of
from pipelines.field.first_failures import events_of, of_event
from pipelines.field.mean_cumulative import mean_cumulative
from pipelines.field.rates import grid
from pipelines.field.risk_sets import at_months, at_risk_at_months, month_grid
from pipelines.field.slices import Slice, labelled, thin

COLUMNS = (
    "event",
    "months",
    "at_risk",
    "mean_count",
    "count_low",
    "count_high",
    "mean_cost",
    "cost_low",
    "cost_high",
)
_NOBODY = "cannot be estimated, because no unit was watched so long"
_NO_LIMITS = "limits cannot be estimated, because there was no failure by then"


def repeat_failures(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Mean failures and mean payable cost a unit at whole months 0 to 60, for one slice.

    Limits are robust to units that fail again. By treatment, each stretch of a state stands for
    itself.
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    stretches = episodes(context, by_state="treatment" in dims)
    failures = failures_of(context, stretches).with_columns(
        cost=pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64)
    )
    months = at_risk_at_months(stretches, month_grid(grid(context, tuple(groups[1:]))), groups)
    classes: list[str | None] = [*context.classes] if "cause_class" in dims else [None]
    parts = [_empty(months)]
    for event in events_of(context, dims):
        for name in classes:
            chosen = of_event(event) & (True if name is None else pl.col("cause_class") == name)
            rows = _at_months(stretches, failures.filter(chosen), months, groups)
            parts.append(rows.with_columns(event=pl.lit(event), cause_class=pl.lit(name or "all")))
    reached = pl.col("at_risk") > 0
    values = COLUMNS[3:]
    rows = (
        pl.concat(parts, how="diagonal_relaxed")
        .with_columns(pl.col("mean_count", "mean_cost", "failures").fill_null(0))
        .with_columns(pl.when(reached).then(pl.col(name)).alias(name) for name in values)
        .with_columns(
            thin=thin(units="at_risk"),
            note=pl.when(~reached)
            .then(pl.lit(_NOBODY))
            .when(pl.col("count_low").is_null())
            .then(pl.lit(_NO_LIMITS)),
        )
    )
    return labelled(rows.sort(FLEET, *dims, "event", "months"), dims, COLUMNS)


def _at_months(
    stretches: pl.DataFrame, failures: pl.DataFrame, months: pl.DataFrame, groups: list[str]
) -> pl.DataFrame:
    spans = stretches.select(*groups, "episode", "entry", "exit")
    counts = mean_cumulative(spans, failures, groups).rename(
        {"mean": "mean_count", "low": "count_low", "high": "count_high"}
    )
    costs = mean_cumulative(spans, failures, groups, "cost").rename(
        {"mean": "mean_cost", "low": "cost_low", "high": "cost_high"}
    )
    at = [*groups, "age"]
    seen = failures.group_by(at).agg(here=pl.len().cast(pl.Int64)).sort(at)
    seen = seen.select(*at, failures=pl.col("here").cum_sum().over(groups))
    curve = (
        counts.drop("error")
        .join(costs.drop("error"), on=at, how="left")
        .join(seen, on=at, how="left")
    )
    return at_months(curve, months, groups)


def _empty(months: pl.DataFrame) -> pl.DataFrame:
    floats = dict.fromkeys(COLUMNS[3:], pl.Float64)
    schema = months.schema | floats
    extra = {"failures": pl.Int64, "event": pl.String, "cause_class": pl.String}
    return pl.DataFrame(schema=schema | extra)
