"""Figure 4: how often, and at what cost, units fail again.

Belongs here: the table `repeat_failures`. Does not belong here: the estimator
(`mean_cumulative`), first failures.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FLEET
from pipelines.field.counted_episodes import Events
from pipelines.field.ends import shown
from pipelines.field.first_failures import NOBODY, events_of
from pipelines.field.groups import Grouped, Part
from pipelines.field.mean_cumulative import means_at_months
from pipelines.field.risk_sets import happened_by_months
from pipelines.field.slices import labelled, thin

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
    "shown",
)
_NO_LIMITS = "limits cannot be estimated, because there was no failure by then"
_ALL_ALIKE = "limits cannot be estimated, because all units at risk failed alike by then"
_COUNTS_ALIKE = "limits of the count cannot be estimated, because all failed alike by then"
_NO_COST = "limits of the cost cannot be estimated, because nothing was payable by then"
_COSTS_ALIKE = "limits of the cost cannot be estimated, because all cost alike by then"


def repeat_failures(slices: Grouped) -> pl.DataFrame:
    """Mean failures and mean payable cost a unit at whole months 0 to 60, for one slice.

    Limits are robust to units that fail again. By treatment, a unit that comes back to a state is
    still one unit: its stretches are taken together.
    """
    dims = slices.dims
    reaching = slices.whole.below(slices.grid.ages).at_risk_at_months
    parts: list[Part] = []
    for labels, kind in events_of(slices):
        parts.append((labels, _at_months(slices, reaching, kind)))
    reached = pl.col("at_risk") > 0
    rows = slices.rows(parts).with_columns(
        *(pl.when(reached).then(pl.col(name)).alias(name) for name in COLUMNS[3:9]),
        thin=thin(units="at_risk"),
    )
    no_count, no_cost = (pl.col(name).is_null() for name in ("count_low", "cost_low"))
    note = (
        pl.when(~reached)
        .then(pl.lit(NOBODY))
        .when(pl.col("mean_count") == 0)
        .then(pl.lit(_NO_LIMITS))
        .when(no_count & no_cost)
        .then(pl.lit(_ALL_ALIKE))
        .when(no_count)
        .then(pl.lit(_COUNTS_ALIKE))
        .when(no_cost & (pl.col("mean_cost") == 0))
        .then(pl.lit(_NO_COST))
        .when(no_cost)
        .then(pl.lit(_COSTS_ALIKE))
    )
    rows = rows.with_columns(note=note).sort(FLEET, *dims, "event", "months")
    return labelled(rows, dims, COLUMNS)


def _at_months(slices: Grouped, reaching: np.ndarray, kind: str) -> dict[str, np.ndarray]:
    happened = slices.at_risk.inside
    own = happened.of(kind)
    episode, age, costs = (happened[name][own] for name in ("episode", "age", "cost"))
    events, groups = Events(episode, age, costs), slices.groups.height
    count, cost = means_at_months(slices.counted, events, np.ones(len(age)), costs)
    return {
        "at_risk": reaching,
        "failures": happened_by_months(slices.episodes.group[episode], age, groups),
        "mean_count": count.value,
        "count_low": count.low,
        "count_high": count.high,
        "mean_cost": cost.value,
        "cost_low": cost.low,
        "cost_high": cost.high,
        "shown": shown(reaching, slices.units_watched),
    }
