"""Which appeals still wait for a ruling.

Belongs here: appeals beside what stands. Does not belong here: what they do to the order of claims
(`order`), or who recorded them (`pipelines.events`).
"""

from __future__ import annotations

import polars as pl

from schemas.worklist import DESK


def with_open_appeals(desk: pl.DataFrame, decisions: pl.DataFrame) -> pl.DataFrame:
    """`desk` without the appeals that a ruling of a later day has settled, one of an export too.

    Args:
        desk: rows of `schemas.worklist.DESK`, whose appeals no ruling made at the desk has settled.
        decisions: claim, ruling, standing_since.
    """
    ruled = decisions.filter(pl.col("ruling").is_not_null())
    # A ruling of the same day may be the one that is appealed.
    is_settled = (pl.col("standing_since") > pl.col("appeal_day")).fill_null(False)
    names = ("appealed_on", "appeal_reason", "appeal_day")
    return (
        desk.join(ruled.select("claim", "standing_since"), on="claim", how="left")
        .with_columns(**{name: pl.when(~is_settled).then(name) for name in names})
        .select(DESK.names())
    )
