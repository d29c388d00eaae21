"""Behind every figure: one line for each failure that counts.

Belongs here: the table `field_failures`. Does not belong here: which failures count
(`pipelines.units.time_at_risk`), or any figure.
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import ALL_DIMENSIONS, COLUMN_OF, need_of
from pipelines.field.dose_of_failures import dose_of_failures
from schemas.columns import CENTS


def field_failures(context: FieldContext) -> pl.DataFrame:
    """Every failure with the values of all dimensions on its day, by day and call.

    `need` is the list of what `needs` joins. A failure is a unit's first of any kind, of the
    water-caused ones or of its class by its age, then its call.
    """
    failures = context.failures.sort("unit", "age", "call")
    water = pl.col("water_related")
    dimension_values = {
        name: pl.col(COLUMN_OF.get(name, name)) for name in ALL_DIMENSIONS if name != "need"
    }
    # The age in days has a column of its own, so that `age` is the band here too.
    return (
        failures.with_columns(
            first_any=pl.int_range(pl.len()).over("unit") == 0,
            first_water=water & (water.cast(pl.Int64).cum_sum().over("unit") == 1),
            first_of_class=pl.int_range(pl.len()).over("unit", "cause_class") == 0,
            cost=pl.sum_horizontal("parts", "labor", "travel").cast(CENTS),
        )
        .join(context.grounds.pages, on="claim", how="left")
        .join(dose_of_failures(context), on="call", how="left")
        .select(
            "call",
            "claim",
            "serial",
            site=_site(),
            failed_on="failed_on",
            age_days=pl.col("age").cast(pl.Int64),
            month=pl.col("failed_on").dt.strftime("%Y-%m"),
            **dimension_values,
            need=need_of(pl.col("needs")),
            agency="agency",
            water_related="water_related",
            first_any="first_any",
            first_water="first_water",
            first_of_class="first_of_class",
            cost="cost",
            dose="dose",
            page="page",
        )
        .sort("failed_on", "call")
    )


def _site() -> pl.Expr:
    """The site alone; null where the unit has none and its serial stands in."""
    site = pl.col("site")
    return pl.when(site.str.starts_with("at ")).then(site.str.strip_prefix("at "))
