"""Figure 8: the groups of a slice, and how their failures compare with those of their cells.

Belongs here: observed over expected of groups and parts, shrunk, with draws. Does not belong here:
rates of cells (`rate_model`), the forecast.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, UNIT_DIMENSIONS, FieldContext
from pipelines.field.dimensions import split_bands
from pipelines.field.failure_cost import WHOLE
from pipelines.field.forecast_draws import DRAWS
from pipelines.field.outlook import Outlook
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rates import grid
from pipelines.field.shrinkage import shrink
from pipelines.field.slices import Slice


class Groups(NamedTuple):
    """The groups of a slice, with what they have been through by ratio.

    table: fleet and dimensions of units, one row a group. parts: cause classes, or `all`. ratios:
    groups x parts at the best estimate, and x draws.
    """

    table: pl.DataFrame
    parts: list[str]
    ratios: np.ndarray
    drawn: np.ndarray


def groups_of(context: FieldContext, prospects: Outlook, dims: Slice) -> Groups:
    """The groups of a slice and their experience.

    A group's ratio is drawn toward the fleet's by the gamma-Poisson model; its draws are those of
    the gamma that its failures leave. Parts of the fleet alone share its failures.
    """
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    table = grid(context, tuple(placed[1:])).select(placed).sort(placed)
    parts = context.classes if "cause_class" in dims else [WHOLE]
    random = prospects.random(4)
    shape = (table.height, len(parts))
    if prospects.model is None:
        return Groups(table, parts, np.zeros(shape), np.zeros((*shape, DRAWS)))
    part = {name: n for n, name in enumerate(parts)}
    numbered = table.with_row_index("group")
    failed = prospects.failures.join(numbered, on=placed)
    observed = np.zeros(shape)
    classes = failed["cause_class"].to_list() if "cause_class" in dims else [WHOLE] * failed.height
    np.add.at(observed, (failed["group"].to_numpy(), np.array([part[c] for c in classes], int)), 1)
    share = observed.sum(axis=0) / max(observed.sum(), 1)
    usual = _usual(context, prospects, numbered, placed)
    usual = usual / max(usual.sum(), 1e-12) * observed.sum()
    ratios, draws = np.tile(share, (table.height, 1)), np.ones((*shape, DRAWS))
    for n in range(len(parts)):
        expected = usual * share[n]
        shrunk = shrink(observed[:, n], expected) if table.height > 1 else None
        if shrunk is not None:
            ratios[:, n] = share[n] * shrunk.ratios
            own = observed[:, n] + shrunk.shape
            drawn_ratio = random.standard_gamma(own[:, None], (table.height, DRAWS))
            draws[:, n] = share[n] * drawn_ratio / (expected + shrunk.rate)[:, None]
        elif len(parts) > 1:
            own = observed[:, n].sum() + 0.5
            draws[:, n] = share[n] * random.standard_gamma(own, DRAWS) / own
    return Groups(table, parts, ratios, draws)


def _usual(
    context: FieldContext, prospects: Outlook, numbered: pl.DataFrame, placed: list[str]
) -> np.ndarray:
    """What each group's days so far lead to expect at the rates of its cells."""
    if numbered.height == 1:
        return np.ones(1)
    assert prospects.model is not None
    days = context.once("days of kinds", lambda: _days_of_kinds(context))
    rate = prospects.model.by_cell(days, prospects.model.fit.terms[None, :])[:, 0]
    own = days.with_columns(expected=pl.Series(rate) * pl.col("days") / DAYS_PER_YEAR)
    sums = own.group_by(placed).agg(pl.col("expected").sum().round(9))
    by_group = numbered.join(sums, on=placed, how="left", maintain_order="left")
    return by_group["expected"].fill_null(0.0).to_numpy()


def _days_of_kinds(context: FieldContext) -> pl.DataFrame:
    dims = context.units.select("unit", FLEET, *UNIT_DIMENSIONS)
    keys = [FLEET, *UNIT_DIMENSIONS, "needs", "age"]
    return (
        split_bands(context.spans.select("unit", "from_on", "until_on", "entry", "exit", "needs"))
        .join(dims, on="unit")
        .group_by(keys)
        .agg(days=(pl.col("exit") - pl.col("entry")).sum())
        .sort(keys)
    )
