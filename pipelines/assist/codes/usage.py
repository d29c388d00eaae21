"""Where codes stand in rows: counted by kind and spelling.

Belongs here: counts of one file's rows, and adding them up. Does not belong here: what is one name
(`spellings`), files (`pipelines.queries.code_lists`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.records.feed_file import seen_on
from schemas.codes import FEEDS
from schemas.feeds import SEEN_BY

# The columns of feeds that hold codes of a kind.
COLUMNS: dict[str, tuple[tuple[str, str], ...]] = {
    "model": (("units", "model"),),
    "product": (
        ("treatment_purchases", "product"),
        ("startups", "treatment_product"),
        ("service_calls", "product"),
    ),
    "cause": (("service_calls", "cause"),),
    "agency": (("startups", "agency"), ("service_calls", "agency")),
    "region": (("units", "region"),),
    "site": (("units", "site"), ("water_tests", "site"), ("treatment_purchases", "site")),
}
KINDS = tuple(COLUMNS)
USED = pl.Schema(
    {
        "kind": pl.String(),
        "written": pl.String(),
        "feed": pl.String(),
        "rows": pl.Int64(),
        "first_seen": pl.Date(),
        "last_seen": pl.Date(),
        "place": pl.Int64(),
        **dict.fromkeys(("name", "region", "postal_code"), pl.String()),
        "serials": pl.List(pl.String()),
    }
)


def used_codes(feed: str, rows: pl.DataFrame, place: int = 0) -> pl.DataFrame:
    """The codes that rows of a feed use, by USED.

    Args:
        feed: the feed.
        rows: `source_line` and the feed's columns; those that are missing are empty. A column
            `name:<column>` has what stands beside a code.
        place: the number of the file, which tells what came first.
    """
    frames = [USED.to_frame()]
    for kind, columns in COLUMNS.items():
        for of_feed, column in columns:
            if of_feed == feed and column in rows.columns and rows.height:
                frames.append(_of_column(kind, feed, column, rows, place))
    return pl.concat(frames)


def _of_column(kind: str, feed: str, column: str, rows: pl.DataFrame, place: int) -> pl.DataFrame:
    days = [name for name in SEEN_BY[feed] if name in rows.columns]
    seen = seen_on(feed) if len(days) == len(SEEN_BY[feed]) else pl.lit(None, pl.Date)
    own_name = "site_name" if kind == "site" and "site_name" in rows.columns else f"name:{column}"
    of_site = kind == "site" and feed == "units"
    uses = rows.filter(pl.col(column).is_not_null()).select(
        written=column,
        day=seen,
        line="source_line",
        name=_column(rows, own_name),
        region=_column(rows, "region") if of_site else pl.lit(None, pl.String),
        postal_code=_column(rows, "postal_code") if of_site else pl.lit(None, pl.String),
        serial=_column(rows, "serial") if of_site else pl.lit(None, pl.String),
    )
    return (
        uses.group_by("written")
        .agg(
            rows=pl.len().cast(pl.Int64),
            first_seen=pl.col("day").min(),
            last_seen=pl.col("day").max(),
            place=place * 2**40 + pl.col("line").min(),
            serials=pl.col("serial").unique().sort(),
            **{name: _most(name) for name in ("name", "region", "postal_code")},
        )
        .with_columns(kind=pl.lit(kind), feed=pl.lit(feed))
        .select(USED.names())
        .cast(USED)
    )


def _column(rows: pl.DataFrame, name: str) -> pl.Expr:
    return pl.col(name) if name in rows.columns else pl.lit(None, pl.String)


def _most(name: str) -> pl.Expr:
    """The most frequent value, of equals the first by its letters; null without any."""
    return pl.col(name).drop_nulls().sort().mode().min()


def added_up(frames: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """The counts of all files by kind and spelling, `feeds` joined, the most frequent first."""
    used = pl.concat([USED.to_frame(), *frames]).sort("place")
    order = {feed: place for place, feed in enumerate(FEEDS)}
    return (
        used.group_by("kind", "written", maintain_order=True)
        .agg(
            pl.col("rows").sum(),
            pl.col("serials").explode(),
            pl.col("first_seen").min(),
            pl.col("last_seen").max(),
            pl.col("place").min(),
            pl.col("feed")
            .unique()
            .sort_by(pl.col("feed").unique().replace_strict(order, default=99))
            .str.join(" ")
            .alias("feeds"),
            *(pl.col(name).drop_nulls().first() for name in ("name", "region", "postal_code")),
        )
        .sort(["kind", "rows", "place"], descending=[False, True, False])
    )
