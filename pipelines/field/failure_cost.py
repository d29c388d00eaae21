"""Figure 8: what one failure costs, by family and cause class.

Belongs here: means of what is payable and of what waits, weighted, and their errors. Does not
belong here: how many failures are to come.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext
from pipelines.field.pending import EVERY_REASON, shares, weighted
from pipelines.field.slices import Slice

FEWEST = 5  # failures, below which a family's class goes by the class, then by all
FEWEST_OF_A_GROUP = 20  # from which a group's own mix of classes counts
WHOLE = "all"


class FailureCost(NamedTuple):
    """Mean cost of a failure by family and part (cause class, or `all`), the coefficient of
    variation of each, the relative error of the means, and the share of the cost that waits."""

    families: list[str]
    mean: np.ndarray
    variation: np.ndarray
    error: float
    waits: float

    def factors(self, context: FieldContext, count: int, random: np.random.Generator) -> np.ndarray:
        """What errors of the means and of the share of claims covered multiply costs by."""
        means = np.maximum(1 + self.error * random.standard_normal(count), 0.05)
        overall = shares(context)[EVERY_REASON]
        if self.waits == 0 or overall.share == 0:
            return means
        drawn = random.beta(overall.covered + 0.5, overall.decided - overall.covered + 0.5, count)
        factors: np.ndarray = means * (1 + self.waits * (drawn / overall.share - 1))
        return factors


def costed(context: FieldContext, failures: pl.DataFrame) -> pl.DataFrame:
    """The failures with `cost`: what is payable and, weighted, what waits."""
    lines = pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64)
    return failures.with_columns(cost=lines + weighted(context))


def failure_cost(
    context: FieldContext, failures: pl.DataFrame, families: list[str], parts: list[str]
) -> FailureCost:
    """Of each family and part; 0 where nothing failed at all."""
    known = costed(context, failures)
    cost = pl.col("cost")
    # Rounded, so that the order of sums does not show in the last digit.
    aggregates = {"mean": cost.mean().round(9), "spread": cost.std().round(9), "n": pl.len()}
    whole = known.select(**aggregates).row(0)
    of_part = {row[0]: row[1:] for row in known.group_by("cause_class").agg(**aggregates).rows()}
    of_family = {row[0]: row[1:] for row in known.group_by("family").agg(**aggregates).rows()}
    of_both = {
        row[:2]: row[2:] for row in known.group_by("family", "cause_class").agg(**aggregates).rows()
    }
    mean, variation = np.zeros((len(families), len(parts))), np.zeros((len(families), len(parts)))
    for f, family in enumerate(families):
        for p, part in enumerate(parts):
            tried = [of_family.get(family)]
            if part != WHOLE:
                tried = [of_both.get((family, part)), of_part.get(part)]
            level, spread, _ = next((own for own in tried if own and own[2] >= FEWEST), whole)
            mean[f, p] = level or 0.0
            variation[f, p] = (spread or 0.0) / level if level else 0.0
    level, spread, count = whole
    error = (spread or 0.0) / level / np.sqrt(count) if level and count else 0.0
    waits = known.select(weighted(context).sum()).item() / known["cost"].sum() if level else 0.0
    return FailureCost(families, mean, variation, float(error), round(float(waits), 9))


def mix_of_groups(
    context: FieldContext, failures: pl.DataFrame, groups: pl.DataFrame, dims: Slice
) -> np.ndarray:
    """What a group's own mix of cause classes multiplies its families' means by; 1 below 20."""
    own = [FLEET, *dims]
    known = costed(context, failures)
    valued = known.with_columns(
        by_class=pl.col("cost").mean().over("family", "cause_class"),
        by_family=pl.col("cost").mean().over("family"),
    )
    mixes = valued.group_by(own).agg(
        n=pl.len(), mix=(pl.col("by_class").mean() / pl.col("by_family").mean()).round(9)
    )
    usable = (pl.col("n") >= FEWEST_OF_A_GROUP) & pl.col("mix").is_finite()
    mix: np.ndarray = (
        groups.join(mixes, on=own, how="left", maintain_order="left")
        .select(pl.when(usable).then("mix").otherwise(1.0))
        .to_series()
        .to_numpy()
    )
    return mix
