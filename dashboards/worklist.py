"""The order in which an hour is best spent: open claims, each with the reason for its place.

Belongs here: the order and its words. Does not belong here: verdicts, or how rows are drawn.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl

from dashboards.formats import days, money

OPEN = ("needs_review", "needs_evidence")
# A claim whose limit is this many days away counts half as much as one due today.
HALF_WAY_DAYS = 30


def order_claims(decisions: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """The claims in working order, with `open`, `at_stake`, `days_left`, `tier` and `why`.

    First those that need review, by money; then open claims whose filing limit is still ahead, by
    money times nearness (30 / (30 + days left)); then those one document short, by money; then the
    other open claims; last the settled ones, newest first. A claim whose ruling was overtaken by a
    new verdict is open and goes with those that need review. `at_stake` is what is claimed and not
    yet payable as it stands. `overdue` tells whether the day for the missing documents is past.
    """
    claimed = pl.sum_horizontal("parts_claimed", "labor_claimed", "travel_claimed")
    is_open = pl.col("standing").is_in(list(OPEN)) | pl.col("ruling_outdated")
    days_left = (pl.col("file_by") - pl.lit(as_of)).dt.total_days()
    ordered = decisions.with_columns(
        is_open.alias("open"),
        claimed.alias("at_stake"),
        pl.when(days_left >= 0).then(days_left).alias("days_left"),
        (pl.col("documents_due_on") < as_of).fill_null(False).alias("overdue"),
        pl.col("missing")
        .fill_null("")
        .str.split("; ")
        .list.eval(pl.element().filter(pl.element() != ""))
        .alias("documents"),
    ).with_columns(
        pl.when(~pl.col("open"))
        .then(5)
        .when((pl.col("standing") == "needs_review") | pl.col("ruling_outdated"))
        .then(1)
        .when(pl.col("days_left").is_not_null())
        .then(2)
        .when(pl.col("documents").list.len() == 1)
        .then(3)
        .otherwise(4)
        .alias("tier"),
        (
            pl.col("at_stake").cast(pl.Float64)
            * pl.when(pl.col("days_left").is_not_null())
            .then(HALF_WAY_DAYS / (HALF_WAY_DAYS + pl.col("days_left")))
            .otherwise(1.0)
        ).alias("weight"),
    )
    ordered = ordered.sort(
        "tier",
        pl.when(pl.col("tier") < 5).then(pl.col("weight")),
        "failed_on",
        "claim",
        descending=[False, True, True, False],
        nulls_last=True,
    )
    why = [
        _why(*row)
        for row in ordered.select(
            "tier", "ruling_outdated", "at_stake", "days_left", "documents"
        ).iter_rows()
    ]
    return (
        ordered.with_columns(pl.Series("why", why, dtype=pl.String))
        .with_columns(
            why=pl.when("overdue").then(pl.col("why") + "; documents overdue").otherwise("why")
        )
        .drop("weight")
    )


def _why(tier: int, outdated: bool, at_stake: Decimal, days_left: int, documents: list[str]) -> str:
    amount = money(at_stake)
    if tier == 5:
        return "Settled"
    if tier == 1:
        if outdated:
            return f"New records since the ruling; {amount} claimed"
        return f"Needs a person; {amount} claimed"
    if tier == 2:
        left = "today is the last day to file" if days_left == 0 else f"{days(days_left)} to file"
        return f"{amount} at stake, {left}"
    if tier == 3:
        return f"One document short; {amount} at stake"
    count = len(documents)
    return f"{count} documents short; {amount} at stake" if count else f"{amount} at stake"
