"""Figure 7: every alarm of early warning since the beginning.

Belongs here: the table `alarms`. Does not belong here: the charts (`early_warning`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.early_warning import BY, charted_months
from pipelines.field.poisson import garwood_limits
from pipelines.field.slices import ALL, FEWEST_FAILURES, FEWEST_UNITS, LABELS

ALARMS = (
    "began",
    "first_month",
    "last_month",
    "failures",
    "expected",
    "ratio",
    "low",
    "high",
    "standing",
)


def alarms(context: FieldContext) -> pl.DataFrame:
    """Every run of months in alarm since the beginning, the latest first.

    `began` is the month after the sum last stood at 0; failures and expected are those from the
    first to the last month of the run, whose ratio has exact limits.
    """
    charted = charted_months(context).sort("family", "cause_class", "month")
    pair = ["family", "cause_class"]
    latest = pl.col("month").max().over(pair)
    runs = (
        charted.filter(pl.col("cusum").is_not_null())
        .with_columns(latest=latest, run=pl.col("alarm").rle_id().over(pair))
        .filter("alarm")
        .group_by(*pair, "run")
        .agg(
            began=pl.col("month").first().dt.offset_by(pl.format("-{}mo", pl.col("rise").first())),
            first_month=pl.col("month").first(),
            last_month=pl.col("month").last(),
            failures=pl.col("failures").sum(),
            expected=pl.col("expected").sum(),
            standing=pl.col("month").last() == pl.col("latest").first(),
        )
        .sort("last_month", "first_month", *pair, descending=[True, True, False, False])
    )
    count, expected = runs["failures"].to_numpy().astype(float), runs["expected"].to_numpy()
    low, high = (limit / expected for limit in garwood_limits(count))
    watched = context.units.filter(pl.col("watched_days") > 0)
    units = dict(watched.group_by("family").len().rows())
    words = {"by": pl.lit(BY), **{name: pl.lit(ALL) for name in LABELS[1:]}}
    words |= {name: pl.col(name) for name in pair}
    return runs.with_columns(
        ratio=pl.Series(count / expected, dtype=pl.Float64),
        low=pl.Series(low, dtype=pl.Float64),
        high=pl.Series(high, dtype=pl.Float64),
        thin=(pl.col("failures") < FEWEST_FAILURES)
        | (pl.col("family").replace_strict(units, default=0) < FEWEST_UNITS),
        note=pl.lit(None, pl.String),
    ).select(*(word.alias(name) for name, word in words.items()), *ALARMS, "thin", "note")
