"""The payments of the store's claims.

Belongs here: reading credits and decisions. Does not belong here: what follows from them
(`pipelines.assist.payments`).
"""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from pipelines.assist.payments.ledger import payments
from pipelines.records.suggestions import near_misses
from pipelines.store.database import has_table, query_frame, read_frame
from pipelines.store.evidence import records
from schemas.columns import polars_schema
from schemas.payments import Payments

READ = (
    "claim", "serial", "region", "agency", "claimed_on", "standing", "parts_standing",
    "labor_standing", "travel_standing",
)  # fmt: skip


def payments_of(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> pl.DataFrame:
    """The table `payments` as of a day; empty where no credit has ever come.

    Without the feed nobody knows what was paid, so nothing is said to be unpaid.
    """
    credits = records(con, "credits")
    if credits.is_empty():
        return pl.DataFrame(schema=polars_schema(Payments))
    credits = credits.filter(pl.col("credited_on") <= as_of)
    decisions = read_frame(con, "decisions", columns=READ)
    near = near_misses(credits["claim"], decisions["claim"])
    return payments(decisions, credits, near.rename({"serial": "claim"}))


def payment_of(con: duckdb.DuckDBPyConnection, claim: str) -> dict | None:
    """One claim's row as the last refresh left it, with its credits; None where there is none."""
    if not has_table(con, "payments"):
        return None
    found = query_frame(con, "select * from payments where claim = ?", [claim])
    return found.row(0, named=True) if found.height else None


def credits_of(con: duckdb.DuckDBPyConnection, claims: pl.Series, as_of: dt.date) -> pl.DataFrame:
    """The credits of some claims as seen on a day, in the order in which they were posted."""
    wanted = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    posted = records(con, "credits").filter(pl.col("credited_on") <= as_of)
    return posted.join(wanted, on="claim", how="semi").sort("claim", "credited_on", "credit")
