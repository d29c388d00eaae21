"""The rows that count for nothing: set aside, or superseded by one of other content.

Belongs here: reading them out of the store, one a row. Does not belong here: why a row is set aside
(`pipelines.records`), or correcting it (`pipelines.actions`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.store.database import has_table, identifier, query_frame
from pipelines.store.frames_for_sql import registered
from schemas.codes import DESK_FILE, FEEDS
from schemas.columns import column_names, key_columns
from schemas.feeds import FEED_TABLES

REASONS = pl.List(pl.Struct({name: pl.String() for name in ("column", "value", "rule", "reason")}))
UNUSED = pl.Schema(
    {
        "kind": pl.String(),
        "feed": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "reasons": REASONS,
    }
)
SUPERSEDED = "superseded"


def unused_rows(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """One row each, in the shape of UNUSED: by feed, file and line, those set aside first."""
    aside = query_frame(
        con,
        "select 'set_aside' as kind, feed, file, line, list({'column': \"column\", "
        "'value': value, 'rule': rule, 'reason': reason}) as reasons "
        "from set_aside group by feed, file, line",
    )
    parts = [aside.cast(UNUSED)]
    if has_table(con, "row_fates"):
        parts += [_superseded(con, feed) for feed in FEEDS]
    return pl.concat(
        part.sort("feed", "file", "line", nulls_last=True) for part in (parts[0], _all(parts[1:]))
    )


def _all(parts: list[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat([UNUSED.to_frame(), *parts])


def _superseded(con: duckdb.DuckDBPyConnection, feed: str) -> pl.DataFrame:
    """The rows of a feed whose key another row has, which counts: with its place and the row."""
    keys = ", ".join(identifier(name) for name in key_columns(FEED_TABLES[feed]))
    superseded = query_frame(
        con,
        "with gone as (select distinct file, line from row_fates where feed = ? and fate = ?), "
        f"placed as (select distinct source_file, source_line, {keys} from "
        f"{identifier(f'parsed_{feed}')} p semi join gone g on g.file = p.source_file "
        "and g.line = p.source_line) "
        "select g.file, g.line, any_value(l.raw) as raw, min(r.source_file) as by_file, "
        "min_by(r.source_line, r.source_file) as by_line from gone g "
        f"left join {identifier(f'landed_{feed}')} l using (file, line) "
        "left join placed p on p.source_file = g.file and p.source_line = g.line "
        f"left join {identifier(feed)} r using ({keys}) group by g.file, g.line",
        [feed, SUPERSEDED],
    )
    place = pl.format("Another row of the same number counts: {} line {}.", "by_file", "by_line")
    reason = place.fill_null("Another row of the same number counts in its place.")
    typed = superseded.filter(pl.col("file") == DESK_FILE)
    if typed.height:  # a person typed it, and is told what the source says in its stead
        differing = _what_differs(con, feed, typed["line"].to_list())
        superseded = superseded.join(
            differing, on=["file", "line"], how="left", maintain_order="left"
        )
        reason = pl.concat_str(reason, "differs", separator=" ", ignore_nulls=True)
    return superseded.select(
        kind=pl.lit(SUPERSEDED),
        feed=pl.lit(feed),
        file="file",
        line="line",
        reasons=pl.concat_list(
            pl.struct(
                column=pl.lit(None, pl.String), value="raw", rule=pl.lit(SUPERSEDED), reason=reason
            )
        ),
    ).cast(UNUSED)


def _what_differs(con: duckdb.DuckDBPyConnection, feed: str, lines: list[int]) -> pl.DataFrame:
    """file, line, differs: a sentence of the columns in which a record that somebody entered is not
    as the row that counts in its stead."""
    keys = key_columns(FEED_TABLES[feed])
    joined = ", ".join(identifier(name) for name in keys)
    typed = query_frame(
        con,
        f"select * from {identifier(f'parsed_{feed}')} "
        "where source_file = ? and source_line in (select unnest(?))",
        [DESK_FILE, lines],
    )
    with registered(con, typed.select(keys)) as keys_view:
        counting = query_frame(
            con,
            f"select * from {identifier(feed)} where ({joined}) in "
            f"(select ({joined}) from {keys_view})",
        )
    names = [name for name in column_names(FEED_TABLES[feed]) if name not in keys]
    both = typed.join(counting, on=keys, suffix="_there")
    parts = [
        pl.when(pl.col(name).ne_missing(pl.col(f"{name}_there"))).then(
            pl.format(
                "{} {} here, {} there",
                pl.lit(name),
                pl.col(name).cast(pl.String).fill_null("empty"),
                pl.col(f"{name}_there").cast(pl.String).fill_null("empty"),
            )
        )
        for name in names
    ]
    differs = pl.concat_str(parts, separator="; ", ignore_nulls=True)
    return both.select(
        file="source_file",
        line="source_line",
        differs=pl.when(differs != "").then(pl.format("It differs: {}.", differs)),
    )
