"""How long cartridges lasted: covers from changes and from stock, and the lapses between them.

Belongs here: folding dates into covers, for many systems at once. Does not belong here: which
changes and purchases count (`treatment`) and what a lapse means for a claim.

A cover is one stretch that a change or a purchase gives; a lapse is the time from its last day,
grace included, to what came next. Covers do not depend on the day on which they are looked at:
what came after a day only adds covers behind it.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months, add_months_array

COVER_COLUMNS = ("key", "since", "due_on", "lasts_until", "next_on", "source")


def covers_by_changes(systems: pl.DataFrame, changes: pl.DataFrame) -> pl.DataFrame:
    """Covers of systems whose cartridges were changed.

    Args:
        systems: key, installed_on, months (that a cartridge lasts), grace_days; unique by key.
        changes: key, done_on, done_source; those up to the installation do not count.

    Returns:
        key, since (installation or change), due_on (add_months(since, months)), lasts_until (grace
        included), next_on (the next change; null for the last), source (of the change).
    """
    dates = pl.concat(
        [
            systems.select("key", since="installed_on", source=pl.lit(None, pl.String)),
            changes.join(systems, on="key")
            .filter(pl.col("done_on") > pl.col("installed_on"))
            .group_by("key", "done_on")
            .agg(source=pl.col("done_source").min())
            .select("key", since="done_on", source="source"),
        ]
    ).sort("key", "since")
    return (
        dates.join(systems.select("key", "months", "grace_days"), on="key", maintain_order="left")
        .with_columns(
            due_on=add_months(pl.col("since"), pl.col("months")),
            next_on=pl.col("since").shift(-1).over("key"),
        )
        .with_columns(lasts_until=add_days(pl.col("due_on"), pl.col("grace_days")))
        .select(COVER_COLUMNS)
    )


def covers_by_stock(systems: pl.DataFrame, purchases: pl.DataFrame) -> pl.DataFrame:
    """Covers of systems whose cartridges were bought ahead: unused months carry over.

    Args:
        systems: key, installed_on, months, grace_days; unique by key.
        purchases: key, ordered_on, order, line, quantity, purchase_source.

    Returns:
        As `covers_by_changes`; since is the installation or the order's date, due_on the day to
        which the stock then lasts, next_on the next order in order of (ordered_on, order, line).
    """
    rows = pl.concat(
        [
            systems.select(
                "key",
                turn=pl.lit(0, pl.Int8),
                since="installed_on",
                order=pl.lit(None, pl.String),
                line=pl.lit(None, pl.String),
                quantity=pl.lit(1, pl.Int64),
                source=pl.lit(None, pl.String),
            ),
            purchases.join(systems, on="key", how="semi").select(
                "key",
                turn=pl.lit(1, pl.Int8),
                since="ordered_on",
                order="order",
                line="line",
                quantity="quantity",
                source="purchase_source",
            ),
        ]
    )
    rows = rows.sort("key", "turn", "since", "order", "line").join(
        systems.select("key", "months", "grace_days"), on="key", maintain_order="left"
    )
    rounds = rows.select(pl.int_range(pl.len()).over("key")).to_series().to_numpy()
    starts = rows.get_column("since").to_numpy().astype("datetime64[D]")
    stocked = rows.select(
        # A quantity that would outlast any date is as good as one that lasts for ever.
        pl.col("months") * pl.col("quantity").clip(upper_bound=12 * 7000)
    )
    due = stock_lasts_until(rounds, starts, stocked.to_series().to_numpy())
    return (
        rows.with_columns(
            due_on=pl.Series(due, dtype=pl.Date),
            next_on=pl.col("since").shift(-1).over("key"),
        )
        .with_columns(lasts_until=add_days(pl.col("due_on"), pl.col("grace_days")))
        .select(COVER_COLUMNS)
    )


def stock_lasts_until(rounds: np.ndarray, days: np.ndarray, months: np.ndarray) -> np.ndarray:
    """The day to which stock lasts after each row, one round over all systems at a time.

    Rows of one system stand together in order; `rounds` numbers them from 0, the installation.
    After the first row: add_months(day, months); then add_months(max(until, day), months).
    """
    until = np.empty(len(days), dtype="datetime64[D]")
    order = np.argsort(rounds, kind="stable")
    ends = np.searchsorted(rounds[order], np.arange(rounds.max(initial=-1) + 2))
    for begin, end in pairwise(ends):
        rows = order[begin:end]
        start = days[rows]
        if begin:
            start = np.maximum(start, until[rows - 1])
        until[rows] = add_months_array(start, months[rows])
    return until


def lapses(covers: pl.DataFrame, looked_at: pl.DataFrame) -> pl.DataFrame:
    """The lapses of covers up to a day.

    Args:
        covers: of `covers_by_changes` or `covers_by_stock`.
        looked_at: key, day; unique by key. What came after the day is left out, and a lapse that
            still runs ends on it.

    Returns:
        key, ran_out_on (the last day that was covered, grace included), ended_on.
    """
    following = pl.col("next_on")
    return (
        covers.join(looked_at.select("key", "day"), on="key")
        .filter(pl.col("since") <= pl.col("day"))
        .with_columns(ended_on=pl.when(following <= pl.col("day")).then(following).otherwise("day"))
        .filter(pl.col("ended_on") > pl.col("lasts_until"))
        .select("key", "ended_on", ran_out_on="lasts_until")
    )


def kept_windows(systems: pl.DataFrame, covers: pl.DataFrame) -> pl.DataFrame:
    """The days on which covers of one way keep a system up (decisions.md, 19), as windows.

    On a day the covers begun by then count: the last of them must reach it, grace included, and no
    lapse among the earlier ones may count any more.

    Args:
        systems: key, installed_on, look_back_months (null: no lapse is ever forgiven).
        covers: of `covers_by_changes` or `covers_by_stock`, in their order.

    Returns:
        key, from_on, until_on (both included); windows of a key may overlap.
    """
    since, next_on = pl.col("since"), pl.col("next_on")
    lapse_end = pl.when(since > pl.col("lasts_until").shift(1).over("key")).then(since)
    known = (
        covers.with_columns(lapse_end=lapse_end)
        .with_columns(pl.col("lapse_end").forward_fill().over("key"))
        .join(systems.select("key", "installed_on", "look_back_months"), on="key")
    )
    lapsed = pl.col("lapse_end").is_not_null()
    # Months are added where a lapse has to be forgiven alone: that is what takes the time.
    parts = [
        known.filter(~lapsed).with_columns(forgiven_from=pl.lit(None, pl.Date)),
        known.filter(lapsed & pl.col("look_back_months").is_not_null()).with_columns(
            forgiven_from=_forgiven_from()
        ),
    ]
    return (
        pl.concat(parts)
        .with_columns(
            from_on=pl.max_horizontal("since", "installed_on", "forgiven_from"),
            until_on=pl.min_horizontal("lasts_until", add_days(next_on, -1)),
        )
        .filter(pl.col("from_on") <= pl.col("until_on"))
        .select("key", "from_on", "until_on")
    )


def _forgiven_from() -> pl.Expr:
    """The first day d for which add_months(d, -look_back_months) is the lapse's end or later."""
    back = pl.col("look_back_months")
    later = add_months(pl.col("lapse_end"), back)
    # Where the month of `later` is too short for the lapse's day, the next day is the first.
    reaches = add_months(later, -back) >= pl.col("lapse_end")
    return pl.when(reaches).then(later).otherwise(add_days(later, 1))
