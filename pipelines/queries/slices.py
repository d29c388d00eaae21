"""The typed rows of a few keys, as the last refresh left them, with the files that they stand in.

Belongs here: reading such a slice of a feed from the store. Does not belong here: what people
recorded (`pipelines.queries.rows_now`), or settling the slice (`pipelines.records.accounting`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import duckdb
import polars as pl

from pipelines.records.accounting import FILES
from pipelines.records.feed_file import seen_on
from pipelines.steps.ingest import stored_schema
from pipelines.store.database import identifier, query_frame
from pipelines.store.frames_for_sql import registered
from schemas.codes import DESK_FILE
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES


def parsed_rows(
    con: duckdb.DuckDBPyConnection, feed: str, where: str, values: Iterable[object]
) -> pl.DataFrame:
    """Typed rows of a feed that meet a condition of the code's own."""
    schema = stored_schema(feed)
    table = identifier(f"parsed_{feed}")
    rows = query_frame(con, f"select * from {table} where {where}", list(values))
    return rows.select(schema.names()).cast(schema)


def rows_at(con: duckdb.DuckDBPyConnection, feed: str, places: pl.DataFrame) -> pl.DataFrame:
    """The typed rows that stand at some places."""
    with registered(con, places.select("source_file", "source_line")) as places_view:
        return parsed_rows(
            con,
            feed,
            f"(source_file, source_line) in (select (source_file, source_line) from {places_view})",
            [],
        )


def slice_of(
    con: duckdb.DuckDBPyConnection, feed: str, removed: pl.DataFrame, added: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """All rows of the keys at hand as they now are, and those keys.

    Calls of the claims that they name come along, since a claim stands on one call alone.
    """
    key = key_columns(FEED_TABLES[feed])
    both = pl.concat([removed, added])
    keys = both.select(key).unique()
    claims = both["claim"].drop_nulls().unique() if feed == "service_calls" else None
    while True:
        rows = _of_keys(con, feed, keys, claims)
        more = pl.concat([keys, rows.select(key)]).unique()
        if more.height == keys.height:
            break
        keys = more
        if claims is not None:
            claims = pl.concat([claims, rows["claim"].drop_nulls()]).unique()
    places = ["source_file", "source_sheet", "source_line", "source_part"]
    kept = rows.join(removed.select(places), on=places, how="anti")
    return pl.concat([kept, added]), keys


def _of_keys(
    con: duckdb.DuckDBPyConnection, feed: str, keys: pl.DataFrame, claims: pl.Series | None
) -> pl.DataFrame:
    columns = ", ".join(identifier(name) for name in keys.columns)
    with registered(con, keys) as keys_view:
        where = f"({columns}) in (select ({columns}) from {keys_view})"
        if len(keys.columns) == 1:
            where = f"{columns} in (select {columns} from {keys_view})"
        values: list[object] = []
        if claims is not None:
            where += " or claim in (select unnest(?::varchar[]))"
            values.append(claims.to_list())
        return parsed_rows(con, feed, where, values)


def files_of(
    con: duckdb.DuckDBPyConnection, feed: str, removed: pl.DataFrame, added: pl.DataFrame
) -> pl.DataFrame:
    """The files of the feed, each with the day up to which it is complete in place of its name's.

    A correction may change the last day of a file whose name tells none.
    """
    files = query_frame(
        con,
        "select p.file, p.sheet, p.mapping, p.place, p.named_date, p.header_line, p.rows_read, "
        "p.rows_split, p.left_out, p.joined_as, p.joined, p.duplicates, a.through_date "
        "from file_parts p left join row_accounts a on "
        "a.feed = p.feed and a.file = p.file and coalesce(a.sheet, '') = p.sheet "
        "and coalesce(a.mapping, '') = p.mapping where p.feed = ?",
        [feed],
    )
    touched = pl.concat([removed["source_file"], added["source_file"]]).unique()
    day = {
        file: _last_seen(con, feed, file, removed, added)
        for file in files.filter(
            pl.col("named_date").is_null()
            & pl.col("file").is_in(touched.implode())
            & (pl.col("file") != DESK_FILE)
        )["file"].unique()
    }
    changed = pl.col("file").replace_strict(day, default=None, return_dtype=pl.Date)
    dated = files.with_columns(
        named_date=pl.when(pl.col("file").is_in(list(day))).then(changed).otherwise("through_date")
    )
    if DESK_FILE not in files["file"]:
        dated = pl.concat(
            [
                dated,
                pl.DataFrame(
                    [(DESK_FILE, "", "", 0, None, 1, 0, 0, 0, "", 0, 0, None)],
                    schema=dated.schema,
                    orient="row",
                ),
            ]
        )
    return dated.select(FILES.names()).cast(FILES)


def _last_seen(
    con: duckdb.DuckDBPyConnection, feed: str, file: str, removed: pl.DataFrame, added: pl.DataFrame
) -> dt.date | None:
    """The last day by which a row of the file that is not set aside is seen."""
    rows = parsed_rows(
        con,
        feed,
        "source_file = ? and (source_line, source_part) not in (select (line, part) from "
        "row_fates where feed = ? and file = ? and fate = 'set_aside')",
        [file, feed, file],
    )
    places = ["source_line", "source_part"]
    kept = rows.join(
        removed.filter(pl.col("source_file") == file).select(places), on=places, how="anti"
    )
    now = pl.concat([kept, added.filter(pl.col("source_file") == file)])
    day: dt.date | None = now.select(seen_on(feed).max()).item()
    return day
