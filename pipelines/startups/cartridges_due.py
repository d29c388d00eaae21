"""By when a cartridge is due of a unit whose treatment counts as kept up.

Belongs here: bringing `upcoming` in line with what a claim would make of past lapses. Does not
belong here: which cartridges run out (`pipelines.units.upcoming`), when systems are kept up
(`pipelines.coverage.systems_held`).
"""

from __future__ import annotations

import polars as pl

from pipelines.units.upcoming_sentences import sentence_to_send

MATTER = "cartridge due"


def due_while_kept_up(matters: pl.DataFrame, recommendations: pl.DataFrame) -> pl.DataFrame:
    """The matters with a cartridge due no later than the treatment counts as kept up.

    A cartridge may last longer by the way (changes or stock) that has lapsed before: a claim after
    `kept_until` is not covered all the same.

    Args:
        matters: in the form of `upcoming`.
        recommendations: of `treatment_recommendations`.
    """
    kept = recommendations.filter(pl.col("kept_until").is_not_null()).select("serial", "kept_until")
    # Null where the unit has no recommendation: its day then stays as it is.
    sooner = (pl.col("matter") == MATTER) & (pl.col("kept_until") < pl.col("due_on"))
    saved = (pl.col("due_on") - pl.col("kept_until")).dt.total_days()
    return (
        matters.join(kept, on="serial", how="left", maintain_order="left")
        .with_columns(sooner=sooner)
        .with_columns(
            due_on=pl.when("sooner").then("kept_until").otherwise("due_on"),
            days_left=pl.col("days_left") - pl.when("sooner").then(saved).otherwise(0),
        )
        .with_columns(sentence=pl.when("sooner").then(sentence_to_send()).otherwise("sentence"))
        .select(matters.columns)
    )
