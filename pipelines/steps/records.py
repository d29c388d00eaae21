"""The records of every feed, and what became of every row.

Belongs here: writing records and accounts. Does not belong here: how rows are settled
(`pipelines.records.settling`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.engine.ground import Ground
from pipelines.engine.record_part import records_of
from pipelines.records.accounting import FILES, accounts_of
from pipelines.records.settling import SET_ASIDE, Ends, latest_seen, looked_at
from pipelines.records.through_dates import latest_of, through_dates
from pipelines.steps.feed_states import feed_states
from pipelines.steps.ingest import (
    all_left_out,
    all_set_aside,
    codes_of,
    row_accounts,
    unbalanced,
)
from pipelines.steps.landing import PARSED_LEFT_OUT, PARSED_SET_ASIDE
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Check, Step, Written
from pipelines.store.arrivals import has_same_aliases, known_files, with_arrivals
from pipelines.store.database import read_frame
from pipelines.store.deliveries import FILE_PARTS
from pipelines.store.row_parts import number_of_row_parts, row_parts
from pipelines.store.table_writer import TableWriter
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.settings import today
from schemas.accounts import LeftOut, RowAccounts, SetAside
from schemas.codes import FEEDS
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES

# Records are written and checked so many at a time, to bound the memory.
SLICE_ROWS = 500_000


def record_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Settles what became of every row, feed by feed, and accounts for all of them."""
    con = session.con
    parts = read_frame(con, "file_parts", schema=FILE_PARTS)
    set_aside = read_frame(con, "parsed_set_aside", schema=PARSED_SET_ASIDE)
    # Accounts add up over all feeds, so each is settled for them; a feed alone needs no other.
    accounts_wanted = not set(wanted) <= set(FEEDS)
    known, fates = known_files(con, same_mappings(session)), session.writer("row_fates")
    accounted = {}
    for feed in FEEDS if accounts_wanted else [feed for feed in FEEDS if feed in wanted]:
        session.progress(f"Records: {feed}")
        writer = session.writer(feed, FEED_TABLES[feed]) if feed in wanted else None
        files = parts.filter(pl.col("feed") == feed).select(FILES.names())
        settled = list(_settled(session, feed, files, known, writer, fates))
        reasons = set_aside.filter(pl.col("feed") == feed).select(SET_ASIDE.names())
        accounted[feed] = accounts_of(feed, files, reasons, codes_of(session.inputs), settled)
        if writer is not None:
            session.put(writer)
            yield Written(feed)
    if not accounts_wanted:
        return
    accounts = row_accounts(read_frame(con, "export_files"), parts, accounted)
    aside = all_set_aside(set_aside, accounted, session.inputs.recorded)
    left_out = read_frame(con, "parsed_left_out", schema=PARSED_LEFT_OUT)
    writers = {
        "row_fates": fates,
        "row_accounts": session.write("row_accounts", accounts, RowAccounts),
        "set_aside": session.write("set_aside", aside, SetAside),
        "left_out": session.write("left_out", all_left_out(left_out), LeftOut),
        "feed_states": session.write(
            "feed_states", feed_states(session.inputs, accounts, accounted)
        ),
    }
    # All of them: the checks of one look at another.
    session.put(*writers.values())
    yield from (Written(name) for name in writers if name in wanted)


def _settled(
    session: RefreshSession,
    feed: str,
    files: pl.DataFrame,
    known: pl.DataFrame,
    records: TableWriter | None,
    fates: TableWriter,
) -> Iterator[Ends]:
    """What came of each part of a feed's rows; its records, where they are wanted, and its fates
    are written."""
    con, inputs = session.con, session.inputs
    ground, day = Ground.of_codes(inputs.reference), today(inputs.settings)
    count = number_of_row_parts(con, feed, inputs.settings.engine.parts)
    columns, codes = looked_at(feed), codes_of(inputs)
    seen = [latest_seen(feed, rows, codes) for rows in row_parts(con, feed, count, columns)]
    through = through_dates(files, latest_of(seen))
    parts = ({"rows": rows, "through": through} for rows in row_parts(con, feed, count))
    for made in session.engine.run(records_of(feed), ground, parts):
        fates.add(made["fates"].select(pl.lit(feed).alias("feed"), pl.all()))
        if records is not None:
            rows = made["records"]
            for part in rows.iter_slices(SLICE_ROWS) if rows.height else [rows]:
                records.add(with_arrivals(con, feed, part, known, day))
            del rows
        yield Ends(made["reasons"], made["seen"], made["counts"])
        del made
    if records is not None:
        records.sort(key_columns(FEED_TABLES[feed]))


def same_mappings(session: RefreshSession) -> bool:
    """Whether a file that has not changed says what it said to the last publication: mappings and
    aliases are the same.

    So it is taken also where there is nothing left to tell the difference by.
    """
    before = session.last.state
    if before is None or before.mappings != session.state.mappings:
        return before is None
    return before.reference == session.state.reference or has_same_aliases(
        session.con, session.inputs.mappings.aliases
    )


def _wrong_accounts(con: duckdb.DuckDBPyConnection) -> list[str]:
    return unbalanced(read_frame(con, "row_accounts"))["file"].to_list()


def _beyond(con: duckdb.DuckDBPyConnection) -> list[str]:
    return read_frame(con, "feed_states").filter("beyond_tolerance")["feed"].to_list()


def _stale(con: duckdb.DuckDBPyConnection) -> list[str]:
    return read_frame(con, "feed_states").filter("stale")["feed"].to_list()


_READ = ("file_parts", "parsed_set_aside", *REFERENCE_ASSETS)
STEP = Step(
    name="record_tables",
    group="exports",
    title="Records and accounts of every row",
    tables={
        **FEED_TABLES,
        "row_fates": "One row is one typed row: record, superseded, duplicate or set aside.",
        "row_accounts": RowAccounts,
        "set_aside": SetAside,
        "left_out": LeftOut,
        "feed_states": "One row is one feed: to which day it is complete, whether that is stale.",
    },
    reads=(
        *_READ,
        "export_files",
        "parsed_left_out",
        *(f"parsed_{feed}" for feed in FEEDS),
    ),
    reads_of={feed: (*_READ, f"parsed_{feed}") for feed in FEEDS},
    within={
        "row_fates": FEEDS,
        "row_accounts": FEEDS,
        "set_aside": FEEDS,
        "left_out": FEEDS,
        "feed_states": ("row_accounts",),
    },
    work=record_tables,
    rooms=(
        "pipelines/records",
        "pipelines/engine",
        "pipelines/steps/ingest.py",
        "pipelines/steps/records.py",
        "pipelines/store/row_parts.py",
    ),
    about=dict.fromkeys(FEEDS, "The version that stands, with its file and line."),
    checks=(
        Check(
            "ends_add_up",
            "row_accounts",
            "All rows read, and rows added by splitting, end in one of the ends.",
            _wrong_accounts,
            blocking=True,
        ),
        Check(
            "within_tolerance",
            "set_aside",
            "No feed has more rows set aside than the settings allow.",
            _beyond,
        ),
        Check("fresh", "feed_states", "No feed is stale as of the as-of date.", _stale),
    ),
)
