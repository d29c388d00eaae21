"""How far each feed is complete, whether it is stale, and what share of it was set aside.

Belongs here: the table `feed_states`. Does not belong here: settling rows (`ingest`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import polars as pl

from pipelines.records.accounting import Accounts
from pipelines.store.inputs import Inputs
from schemas.codes import FEEDS, OPTIONAL_FEEDS


def feed_states(
    inputs: Inputs, accounts: pl.DataFrame, accounted: Mapping[str, Accounts]
) -> pl.DataFrame:
    """One row a feed: its through date, whether it is stale, and what share was set aside.

    A row set aside for which a person entered a record counts no longer in that share.
    A feed without a file is complete up to no day; it is stale only where rows of it have come, or
    a file that tells by its name how far it goes.
    An optional feed without a file is left out.
    """
    oldest = inputs.as_of - dt.timedelta(days=inputs.settings.stale_after_days)
    totals = accounts.group_by("feed").agg(
        pl.col("file").n_unique().alias("files"), pl.col("rows_read", "set_aside").sum()
    )
    through = pl.DataFrame(
        {
            "feed": list(FEEDS),
            "through_date": [_capped(accounted[feed].through_date, inputs.as_of) for feed in FEEDS],
        },
        schema={"feed": pl.String, "through_date": pl.Date},
    )
    settled = pl.DataFrame(
        {"feed": list(FEEDS), "settled": [_settled(inputs, feed, accounted) for feed in FEEDS]},
        schema={"feed": pl.String, "settled": pl.Int64},
    )
    share = (pl.col("set_aside") - pl.col("settled")).clip(0) / pl.col("rows_read")
    missed = pl.col("feed").is_in(OPTIONAL_FEEDS) & pl.col("files").is_null()
    return (
        through.join(totals, on="feed", how="left")
        .join(settled, on="feed")
        .filter(~missed)
        .with_columns(pl.col("files", "rows_read", "set_aside").fill_null(0).cast(pl.Int64))
        .with_columns(
            stale=(pl.col("through_date").fill_null(dt.date.min) < oldest)
            & ((pl.col("rows_read") > 0) | pl.col("through_date").is_not_null()),
            set_aside_share=pl.when(pl.col("rows_read") > 0).then(share).otherwise(0.0),
        )
        .with_columns(
            beyond_tolerance=pl.col("set_aside_share") > inputs.settings.set_aside_tolerance
        )
        .drop("settled")
    )


def _settled(inputs: Inputs, feed: str, accounted: Mapping[str, Accounts]) -> int:
    """How many rows of a feed are set aside and settled by a record that a person entered."""
    set_aside = accounted[feed].set_aside
    places = set(set_aside.select("file", "line").iter_rows())
    # Of a file that is set aside whole no row is told of alone.
    accounts = accounted[feed].accounts
    whole = set(accounts.filter(pl.col("set_aside") == pl.col("rows_read"))["file"])
    return sum(
        1
        for of_feed, file, line in inputs.recorded.settled
        if of_feed == feed and ((file, line) in places or file in whole)
    )


def _capped(day: dt.date | None, as_of: dt.date) -> dt.date | None:
    return None if day is None else min(day, as_of)
