"""All rulings on one claim: those that the last refresh saw, and those recorded since.

Belongs here: bringing both into one order. Does not belong here: what a ruling does
(`pipelines.coverage.standing`), making one (`pipelines.actions.rulings`).
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from pipelines.events.recorded import DeskRecord
from pipelines.store.database import query_frame
from schemas.codes import DESK_FILE
from schemas.columns import column_names
from schemas.feeds import Rulings


def all_rulings(
    recorded: DeskRecord, con: duckdb.DuckDBPyConnection, claim: str, zone: ZoneInfo
) -> list[dict[str, Any]]:
    """Every ruling on a claim in the order in which they were made; the last one stands.

    One that waits for a second person, or was withdrawn, is none.

    `ruled_at` is in the workspace's time zone; `since_refresh` marks those recorded with the tool
    since the last refresh. Rulings that the last refresh did not see yet are left out.
    """
    seen = query_frame(
        con,
        "select * from rulings where claim = ? and cast(ruled_at as date) <= "
        "(select as_of from store_state)",
        [claim],
    )
    lines = [line for line, _ in recorded.rows("rulings")]
    gone = (pl.col("source_file") == DESK_FILE) & ~pl.col("source_line").is_in(lines)
    known = seen.filter(~gone).to_dicts()
    since = [
        row for row in rulings_since(recorded, con) if row["claim"] == claim and _is_readable(row)
    ]
    rulings = [
        {name: _value(name, row[name]) for name in column_names(Rulings)} | {"since_refresh": fresh}
        for fresh, group in ((False, known), (True, since))
        for row in group
    ]
    for row in rulings:
        row["ruled_at"] = moment_here(row["ruled_at"], zone)
    return sorted(rulings, key=lambda row: row["ruled_at"])


def rulings_since(recorded: DeskRecord, con: duckdb.DuckDBPyConnection) -> list[dict[str, str]]:
    """The rulings made at the desk that the last refresh did not read, texts of their feed."""
    known = query_frame(con, "select source_line from rulings where source_file = ?", [DESK_FILE])
    read = set(known["source_line"])
    names = column_names(Rulings)
    return [
        {name: row.get(name, "") for name in names}
        for line, row in recorded.rows("rulings")
        if line not in read
    ]


def _value(name: str, cell: Any) -> Any:
    """A cell as the store holds it: the file of recorded rulings has texts, empty where nothing."""
    if cell == "":
        return None
    is_typed_money = name in column_names(Rulings, kind="money") and isinstance(cell, str)
    return Decimal(cell) if is_typed_money else cell


def _is_readable(row: dict[str, str]) -> bool:
    """Whether moment and amounts are such; the next refresh sets aside a row where they are not."""
    try:
        dt.datetime.fromisoformat(row["ruled_at"])
        for name in column_names(Rulings, kind="money"):
            Decimal(row[name] or 0)
    except (ValueError, InvalidOperation):
        return False
    return True


def moment_here(moment: dt.datetime | str, zone: ZoneInfo) -> dt.datetime:
    """A moment in the workspace's time zone, as the rulings feed reads it."""
    at = dt.datetime.fromisoformat(moment) if isinstance(moment, str) else moment
    return at if at.tzinfo is None else at.astimezone(zone).replace(tzinfo=None)
