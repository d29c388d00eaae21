"""A slice as numbers: which group each episode and each failure belongs to.

Belongs here: coding groups for the estimators by age, and laying their tables out as rows again.
Does not belong here: which slices there are (`slices`), estimates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext, episodes, failures_of
from pipelines.field.rates import grid
from pipelines.field.risk_sets import MONTHS, AgeGrid, Episodes
from pipelines.field.slices import Slice

NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Grouped:
    """One slice of a context, not yet parted by cause class.

    groups: its dimensions, one row a group, in the order of the groups' numbers.
    episodes: the stretches under watch.
    failures: unit, episode (place in `episodes`), group, age, cause_class, water_related, cost of
        those inside the stretches; ever: unit, age, call, cause_class, water_related of all up to
        the end of what is looked at, for first failures.
    units: one more than the greatest number of a unit.
    """

    groups: pl.DataFrame
    episodes: Episodes
    failures: pl.DataFrame
    ever: pl.DataFrame
    units: int

    @property
    def grid(self) -> AgeGrid:
        """The table of counts of the slice."""
        return AgeGrid(self.groups.height)

    def first_ages(self, chosen: pl.Expr) -> np.ndarray:
        """The age of each unit's first failure of the chosen ones; `NEVER` without one."""
        firsts = self.ever.filter(chosen).group_by("unit").agg(pl.col("age").min())
        ages = np.full(self.units, NEVER)
        ages[firsts["unit"].to_numpy()] = firsts["age"].to_numpy()
        return ages

    def rows(self, **tables: np.ndarray) -> pl.DataFrame:
        """Tables of groups x months 0 to 60 as columns beside the groups and `months`."""
        months = pl.DataFrame({"months": np.arange(MONTHS + 1)})
        columns = [
            pl.Series(name, table.reshape(-1), nan_to_null=table.dtype.kind == "f")
            for name, table in tables.items()
        ]
        return self.groups.join(months, how="cross", maintain_order="left_right").with_columns(
            columns
        )


def grouped(context: FieldContext, dims: Slice) -> Grouped:
    """The slice with its groups, episodes and failures numbered."""
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    groups = grid(context, tuple(placed[1:])).select(placed).sort(placed).with_row_index("group")
    stretches = episodes(context, by_state="treatment" in dims).join(
        groups, on=placed, maintain_order="left"
    )
    columns = (stretches[name].to_numpy() for name in ("group", "unit", "entry", "exit"))
    inside = failures_of(context, stretches).join(groups, on=placed, maintain_order="left")
    failures = inside.select(
        "unit",
        "episode",
        "group",
        "age",
        "cause_class",
        "water_related",
        cost=pl.sum_horizontal("parts", "labor", "travel").cast(pl.Float64),
    )
    wanted = ("unit", "age", "call", "cause_class", "water_related")
    ever = pl.concat([context.before.select(wanted), context.failures.select(wanted)])
    return Grouped(
        groups.drop("group"),
        Episodes(*(column.astype(np.int64) for column in columns)),
        failures,
        ever,
        context.units.select(pl.col("unit").max().fill_null(0)).item() + 1,
    )
