"""The payments of the store's claims.

Belongs here: reading credits and decisions. Does not belong here: what follows from them
(`pipelines.assist.payments`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.assist.payments.ledger import payments
from pipelines.records.suggestions import near_misses
from pipelines.steps.step import Step, Written
from pipelines.store.database import read_frame
from pipelines.store.evidence import records
from pipelines.store.transaction import RefreshSession
from schemas.columns import polars_schema
from schemas.payments import Payments

READ = (
    "claim", "serial", "region", "agency", "claimed_on", "standing", "parts_standing",
    "labor_standing", "travel_standing",
)  # fmt: skip


def payments_table(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Adds up what was credited for each claim and compares it with what stands."""
    del wanted  # one table
    frame = payments_of(session.con, session.inputs.as_of)
    session.put(session.write("payments", frame, Payments))
    yield Written("payments")


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


STEP = Step(
    name="claim_payments",
    group="decisions",
    title="Payments",
    tables={"payments": Payments},
    reads=("decisions", "credits"),
    work=payments_table,
    rooms=(
        "pipelines/assist/payments",
        "pipelines/records/suggestions.py",
        "pipelines/steps/payment_ledger.py",
    ),
)
