"""What a decision may look at: the records seen by a day, the reference files, through dates.

Belongs here: the bundle of frames, what of it is seen as of a day, and how a record is cited.
Does not belong here: what follows from a record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import polars as pl

from schemas.columns import column_names, key_columns
from schemas.feeds import FEED_TABLES, SEEN_BY, record_schema

# The feeds whose silence counts, and up to which day it does, is asked of these alone: a decision
# stands while their through dates move only beyond the days that it turns on.
SILENCE_COUNTS = ("startups", "treatment_purchases", "service_calls")

CITED_PARTS = ("feed", "key", "file", "line")
# Of rulings at the desk: when a second person approved one, when the last of a claim was withdrawn.
APPROVALS = pl.Schema(
    {"claim": pl.String(), "ruled_at": pl.Datetime("us"), "approved_on": pl.Date()}
)
WITHDRAWALS = pl.Schema({"claim": pl.String(), "withdrawn_on": pl.Date()})
# Rows with this character are set aside and no file name can hold it, so it stands in no part.
_APART = "\0"


@dataclass(frozen=True)
class Evidence:
    """All records and reference files, one frame each, with the columns of their schema classes.

    `through` tells for each feed the day up to which it is complete (null: up to none).
    """

    units: pl.DataFrame
    startups: pl.DataFrame
    water_tests: pl.DataFrame
    treatment_purchases: pl.DataFrame
    service_calls: pl.DataFrame
    rulings: pl.DataFrame
    models: pl.DataFrame
    treatments: pl.DataFrame
    causes: pl.DataFrame
    agencies: pl.DataFrame
    regions: pl.DataFrame
    through: Mapping[str, date | None]
    as_of: date
    credits: pl.DataFrame = field(default_factory=lambda: record_schema("credits").to_frame())
    approvals: pl.DataFrame = field(default_factory=APPROVALS.to_frame)
    withdrawals: pl.DataFrame = field(default_factory=WITHDRAWALS.to_frame)

    def complete_to(self, feed: str) -> pl.Expr:
        """The feed's through date as a literal; null where it is complete up to no day.

        Raises ValueError for a feed that is not among `SILENCE_COUNTS`.
        """
        if feed not in SILENCE_COUNTS:
            raise ValueError(f"{feed}: add it to SILENCE_COUNTS, which tells what a decision asks.")
        return pl.lit(self.through.get(feed), dtype=pl.Date)


def seen(evidence: Evidence) -> Evidence:
    """The evidence as it was known on its as-of date.

    Rows not seen by then are dropped, later dates inside a seen row become null, and no through
    date is later. A start-up report with neither date is seen.
    """
    frames: dict[str, Any] = {
        feed: _seen_rows(feed, getattr(evidence, feed), evidence.as_of) for feed in SEEN_BY
    }
    through = {
        feed: None if day is None else min(day, evidence.as_of)
        for feed, day in evidence.through.items()
    }
    for name, day in (("approvals", "approved_on"), ("withdrawals", "withdrawn_on")):
        frames[name] = getattr(evidence, name).filter(pl.col(day) <= evidence.as_of)
    return replace(evidence, through=through, **frames)


def _seen_rows(feed: str, records: pl.DataFrame, as_of: date) -> pl.DataFrame:
    if records.is_empty():
        return records
    # A moment counts by its day in the workspace's time zone, in which it already stands.
    first = pl.coalesce(SEEN_BY[feed]).cast(pl.Date)
    days = [name for name in column_names(FEED_TABLES[feed], kind="day") if name in records.columns]
    return records.filter((first <= as_of).fill_null(True)).with_columns(
        pl.when(pl.col(name) <= as_of).then(pl.col(name)).alias(name) for name in days
    )


def citation(feed: str) -> pl.Expr:
    """A record of the feed as rules cite it, in one text: cheap to sort, compare and gather.

    `structured` tells its parts; `cited_as_text` is for people.
    """
    return pl.concat_str(
        pl.lit(feed), _key(feed), "source_file", pl.col("source_line").cast(pl.String),
        separator=_APART,
    )  # fmt: skip


def structured(citations: pl.Expr) -> pl.Expr:
    """Lists of citations as lists of their parts: feed, key, file, line."""
    parts = pl.element().str.split_exact(_APART, 3).struct.rename_fields(CITED_PARTS)
    return citations.list.eval(parts.struct.with_fields(pl.field("line").cast(pl.Int64)))


def cited_as_text(feed: str) -> pl.Expr:
    """How a record is cited in a text: `feed/key/file:line`."""
    return pl.format("{}/{}/{}:{}", pl.lit(feed), _key(feed), "source_file", "source_line")


def cited_parts(feed: str) -> list[pl.Expr]:
    """Of a feed's records, what `structured` tells of their citations: feed, key, file, line."""
    return [
        pl.lit(feed).alias("feed"),
        _key(feed).alias("key"),
        pl.col("source_file").alias("file"),
        pl.col("source_line").alias("line"),
    ]


def _key(feed: str) -> pl.Expr:
    """The key of a record as it is cited; several columns are joined by dashes.

    Amounts that are part of a key are left out: they say nothing to whoever looks the row up.
    """
    table = FEED_TABLES[feed]
    amounts = column_names(table, kind="money")
    names = [name for name in key_columns(table) if name not in amounts]
    return pl.concat_str(names, separator="-", ignore_nulls=True)
