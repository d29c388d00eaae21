"""Since when each record is known: the day on which a run that published first read its content.

Belongs here: carrying the two days of a record over from one publication to the next. Does not
belong here: how records are settled (`pipelines.steps.records`), or what stands by a past day.

A content keeps its day whatever file it is delivered in again, also where it had left meanwhile:
the published store knows the records that stand, its table `archived_rows` those that left. What
neither knows has come with the earliest file that holds it, which is one of today's but where that
file was read before, its row beaten by another's, or where the store had to be made anew.
"""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, identifier, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.row_hashes import (
    content_columns,
    key_text,
    row_sha256,
    same_content,
    same_key,
)
from schemas.feeds import ARRIVALS, stored_schema

# The correction that a person made of a parsed row, where there is one.
_CORRECTED = (
    "left join parsed_corrected c on c.feed = ? and (c.file, c.sheet, c.line) = "
    "(p.source_file, p.source_sheet, p.source_line)"
)


def with_arrivals(
    con: duckdb.DuckDBPyConnection,
    feed: str,
    records: pl.DataFrame,
    files: pl.DataFrame,
    today: dt.date,
) -> pl.DataFrame:
    """The records with arrived_on and first_arrived_on, in their order.

    Args:
        con: the working copy, with the published store as LAST where there is one.
        records: of the feed, by `schemas.feeds.record_schema`, each key once.
        files: file, arrived_on: since when each export is known (`known_files`).
        today: the day of this run in the workspace's time zone.
    """
    content = records.select(*content_columns(feed), "source_file", "source_line")
    numbered = content.with_row_index("_row")
    arrivals = _of_last(con, feed, numbered)
    new = arrivals.filter(pl.col("arrived_on").is_null() | pl.col("first_arrived_on").is_null())
    if new.height:
        archived = _of_archive(con, feed, numbered.join(new.select("_row"), on="_row"))
        by_file = _of_files(con, feed, numbered.join(new.select("_row"), on="_row"), files)
        arrivals = (
            arrivals.join(archived, on="_row", how="left", suffix="_kept")
            .join(by_file, on="_row", how="left", suffix="_file")
            .with_columns(
                arrived_on=pl.coalesce(
                    "arrived_on", "arrived_on_kept", "arrived_on_file", pl.lit(today)
                ),
            )
            .with_columns(
                first_arrived_on=pl.coalesce(
                    "first_arrived_on",
                    pl.min_horizontal("first_arrived_on_kept", "first_arrived_on_file"),
                    "arrived_on",
                )
            )
            # A content may be known from longer ago than its key: its row was beaten by another's.
            .with_columns(first_arrived_on=pl.min_horizontal("arrived_on", "first_arrived_on"))
        )
    days = arrivals.sort("_row").select(pl.col(name).cast(kind) for name, kind in ARRIVALS.items())
    return records.with_columns(days.get_columns()).select(stored_schema(feed).names())


def known_files(con: duckdb.DuckDBPyConnection, trust_places: bool) -> pl.DataFrame:
    """Since when each of the present exports is known, by its content: file, arrived_on.

    Only those that are known. Where mappings or aliases have changed and the store still holds
    what was read (`trust_places` is false) none is: what a file says may be new though its bytes
    are not.
    """
    schema = pl.Schema({"file": pl.String, "arrived_on": pl.Date})
    if not trust_places or not has_table(con, f"{LAST}.publications"):
        return pl.DataFrame(schema=schema)
    # What a file says together with joined ones is known since the last of them is.
    return query_frame(
        con,
        "with known as (select f.file, min(e.arrived_on) as arrived_on from export_files f join "
        f"(select unnest(exports_files, recursive := true) from {LAST}.publications) e "
        "on e.sha256 = f.sha256 where f.sha256 <> '' group by f.file), "
        "joined as (select p.file, max(k.arrived_on) as arrived_on, "
        "bool_and(k.arrived_on is not null) as are_known from file_parts p "
        "join file_parts j on (j.feed, j.mapping) = (p.feed, p.mapping) and j.joined_as <> '' "
        "left join known k on k.file = j.file where p.joined_as = '' group by p.file) "
        "select k.file, greatest(k.arrived_on, j.arrived_on) as arrived_on "
        "from known k left join joined j using (file) where coalesce(j.are_known, true)",
    ).cast(schema)


def has_same_aliases(con: duckdb.DuckDBPyConnection, aliases: pl.DataFrame) -> bool:
    """Whether the last publication read the exports with these aliases, as far as it tells."""
    if not has_table(con, f"{LAST}.reference_aliases"):
        return True
    known = query_frame(con, f"select * from {LAST}.reference_aliases").select(aliases.columns)
    return known.sort(pl.all()).equals(aliases.sort(pl.all()))


def _of_last(con: duckdb.DuckDBPyConnection, feed: str, records: pl.DataFrame) -> pl.DataFrame:
    """What the published store says of a record that stands there: _row and the two days."""
    before = f"{LAST}.{identifier(feed)}"
    if not _has_arrivals(con, f"{LAST}.{feed}"):
        return records.select("_row").with_columns(
            pl.lit(None, kind).alias(name) for name, kind in ARRIVALS.items()
        )
    with registered(con, records) as now:
        return query_frame(
            con,
            f"select n._row, case when {same_content(feed, 'n', 'o')} then o.arrived_on end "
            f"as arrived_on, o.first_arrived_on from {now} n left join {before} o "
            f"on {same_key(feed, 'n', 'o')}",
        )


def _of_archive(con: duckdb.DuckDBPyConnection, feed: str, records: pl.DataFrame) -> pl.DataFrame:
    """What the archive says of records that are not among those published last."""
    if not has_table(con, f"{LAST}.archived_rows"):
        return pl.DataFrame(schema={"_row": pl.UInt32, **ARRIVALS})
    with registered(con, records) as now:
        return query_frame(
            con,
            f"with new as (select _row, {row_sha256(feed)} as row_sha256, {key_text(feed)} as key "
            f"from {now}), keys as (select key, min(arrived_on) as first_arrived_on from "
            f"{LAST}.archived_rows where feed = '{feed}' group by key) "
            "select n._row, a.arrived_on, k.first_arrived_on from new n "
            f"left join {LAST}.archived_rows a using (row_sha256) "
            "left join keys k on k.key = n.key",
        )


def _of_files(
    con: duckdb.DuckDBPyConnection, feed: str, records: pl.DataFrame, files: pl.DataFrame
) -> pl.DataFrame:
    """The day of the earliest known file that holds a record, and of the first with its key."""
    parsed = f"parsed_{feed}"
    if files.is_empty() or not has_table(con, parsed):
        return pl.DataFrame(schema={"_row": pl.UInt32, **ARRIVALS})
    con.register("known_files", files)
    try:
        with registered(con, records) as now:
            days = query_frame(
                con,
                f"select n._row, min(case when c.line is null and {same_content(feed, 'n', 'p')} "
                "then f.arrived_on end) as arrived_on, min(f.arrived_on) as first_arrived_on "
                f"from {now} n join {parsed} p on {same_key(feed, 'n', 'p')} "
                f"join known_files f on f.file = p.source_file {_CORRECTED} group by n._row",
                [feed],
            )
            if feed != "water_tests":
                return days
            results = _of_results(con, now)
    finally:
        con.unregister("known_files")
    both = days.join(results, on="_row", how="left")
    return both.with_columns(arrived_on=pl.coalesce("arrived_on", "of_results")).drop("of_results")


def _of_results(con: duckdb.DuckDBPyConnection, now: str) -> pl.DataFrame:
    """_row and of_results, for samples with one row an analyte: the day on which the last of their
    results had come; not there where one came with no known file, or was corrected."""
    return query_frame(
        con,
        "with said as (select n._row, p.analyte, p.result, p.result_below, "
        "min(f.arrived_on) as day, bool_or(c.line is not null) as is_corrected, "
        "bool_or((p.source_file, p.source_line) = (n.source_file, n.source_line)) as is_own "
        f"from {now} n join parsed_water_tests p on p.sample = n.sample and p.analyte is not null "
        f"left join known_files f on f.file = p.source_file {_CORRECTED} group by all) "
        "select _row, max(day) as of_results from said group by _row "
        "having bool_or(is_own) and bool_and(day is not null and not is_corrected)",
        ["water_tests"],
    )


def _has_arrivals(con: duckdb.DuckDBPyConnection, table: str) -> bool:
    if not has_table(con, table):
        return False
    columns = con.execute(f"select * from {table} limit 0").description
    return "arrived_on" in [column[0] for column in columns]
