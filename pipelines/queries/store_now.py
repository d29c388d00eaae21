"""The store with what people recorded since the last refresh laid over it, to read and to decide.

Belongs here: views over the store under its tables' own names. Does not belong here: which rows
differ (`pipelines.queries.rows_now`), deciding (`pipelines.queries.deciding_now`).
"""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.queries.rows_now import RowsNow, rows_now
from pipelines.store.database import identifier, query_frame
from pipelines.store.inputs import Inputs
from pipelines.store.published_state import PublishedState
from pipelines.store.reading import open_store, published_state
from pipelines.workspace.layout import DATABASE_FILE
from schemas.codes import DESK_FILE, FEEDS
from schemas.feeds import record_schema

STORE = DATABASE_FILE.removesuffix(".duckdb")  # as DuckDB names the file that is open
DECISIVE = tuple(feed for feed in FEEDS if feed != "credits")
# The last few answers of `_feeds_now`, each with what it rests on.
_SETTLED: deque[tuple[tuple[object, ...], dict[str, RowsNow]]] = deque(maxlen=4)


@dataclass(frozen=True)
class StoreNow:
    """An open store with views: each feed reads as the next refresh will read it.

    feeds: what differs, by feed.
    is_of_its_day: whether the day and all that is laid in are those of the last refresh, so that
        what no record since bears on is decided as published.
    """

    con: duckdb.DuckDBPyConnection
    inputs: Inputs
    feeds: dict[str, RowsNow]
    is_behind: bool
    is_of_its_day: bool

    def set_aside(self, feed: str, event: int) -> pl.DataFrame:
        """Why a row that a person entered would be set aside; empty where it is not."""
        now = self.feeds.get(feed)
        if now is None:
            return pl.DataFrame(schema={"column": pl.String, "reason": pl.String})
        mine = (pl.col("file") == DESK_FILE) & (pl.col("line") == event)
        return now.set_aside.filter(mine)


@contextmanager
def store_now(inputs: Inputs) -> Iterator[StoreNow]:
    """The store as the exports of the last refresh and today's events make it.

    Raises:
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    with open_store(inputs.workspace) as con:
        state = published_state(inputs.workspace, con)
        feeds = _feeds_now(con, inputs, state)
        for feed, rows in feeds.items():
            _lay_over(con, feed, rows)
        _through_dates(con, inputs.as_of, feeds)
        is_behind = state.is_behind(inputs)
        is_of_its_day = state.as_of == inputs.as_of and not is_behind
        yield StoreNow(con, inputs, feeds, is_behind, is_of_its_day)


def _feeds_now(
    con: duckdb.DuckDBPyConnection, inputs: Inputs, state: PublishedState
) -> dict[str, RowsNow]:
    """What differs, by feed; kept while the store and all that it rests on are the same.

    An action looks at the store several times, before and after it, and so does a page.
    """
    recorded = inputs.recorded
    rests_on = (
        inputs.workspace.root,
        state,
        inputs.digests,
        recorded.records,
        recorded.made,
        recorded.rulings,
    )
    for known, feeds in tuple(_SETTLED):
        if known == rests_on:
            return feeds
    feeds = {feed: rows for feed in DECISIVE if (rows := rows_now(con, inputs, feed)) is not None}
    _SETTLED.append((rests_on, feeds))
    return feeds


def _lay_over(con: duckdb.DuckDBPyConnection, feed: str, rows: RowsNow) -> None:
    """A view of the feed's records in which those of some keys are other ones."""
    names = record_schema(feed).names()
    keys, records = identifier(f"keys_now_{feed}"), identifier(f"records_now_{feed}")
    con.register(f"keys_now_{feed}", rows.keys)
    con.register(f"records_now_{feed}", rows.records.select(names))
    columns = ", ".join(identifier(name) for name in rows.keys.columns)
    table, stored = identifier(feed), identifier(f"{STORE}.main.{feed}")
    con.execute(
        f"create or replace temp view {table} as select * from {stored} anti join {keys} "
        f"using ({columns}) union all by name select * from {records}"
    )


def _through_dates(
    con: duckdb.DuckDBPyConnection, as_of: dt.date, feeds: dict[str, RowsNow]
) -> None:
    """A view of the feeds' states as of the day, with the days up to which they are complete."""
    read = dict(
        query_frame(
            con, "select feed, max(through_date) as day from row_accounts group by feed"
        ).iter_rows()
    )
    days = {feed: feeds[feed].through if feed in feeds else read.get(feed) for feed in FEEDS}
    capped = pl.DataFrame(
        {
            "feed": list(days),
            "through_date": [None if day is None else min(day, as_of) for day in days.values()],
        },
        schema={"feed": pl.String, "through_date": pl.Date},
    )
    con.register("through_now", capped)
    con.execute(
        "create or replace temp view feed_states as select s.* replace (t.through_date as "
        f"through_date) from {STORE}.main.feed_states s join through_now t using (feed)"
    )
