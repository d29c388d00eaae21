"""Decisions of now, or records of then, laid over those of the store, read by the same name.

Belongs here: the views. Does not belong here: deciding (`deciding_now`, `other_days`).
"""

from __future__ import annotations

import datetime as dt

import duckdb

from pipelines.coverage.decisions import Decided
from pipelines.queries.store_now import STORE, StoreNow
from pipelines.store.database import identifier
from pipelines.store.row_hashes import read_values
from schemas.feeds import record_schema


def lay_decisions_over(now: StoreNow, made: Decided) -> None:
    """Has `decisions` and `findings` of the store read as decided now, for the claims decided."""
    for name, frame in (("decisions", made.decisions), ("findings", made.findings)):
        now.con.register(f"{name}_now", frame)
        table, stored = identifier(name), identifier(f"{STORE}.main.{name}")
        overlay = identifier(f"{name}_now")
        now.con.execute(
            f"create or replace temp view {table} as select * from {stored} anti join {overlay} "
            f"using (claim) union all by name select * from {overlay}"
        )


def lay_arrived(con: duckdb.DuckDBPyConnection, feed: str, known: dt.date) -> None:
    """Has the records of a feed read as they were on file at the end of a day.

    What arrived later is left out; what has left since stands among the rows of the archive.
    """
    names = ", ".join(identifier(name) for name in record_schema(feed))
    table, stored = identifier(feed), identifier(f"{STORE}.main.{feed}")
    archive, day = identifier(f"{STORE}.main.archived_rows"), known.isoformat()
    left = f"{read_values(feed)}, file as source_file, line as source_line, '' as source_sheet"
    con.execute(
        f"create or replace temp view {table} as select {names} from {stored} "
        f"where arrived_on <= '{day}' union all by name select {left} from {archive} "
        f"where feed = '{feed}' and arrived_on <= '{day}' and left_on > '{day}'"
    )
