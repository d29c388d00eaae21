"""What is picked from the store by claim: decisions, findings, their history, the claims on record.

Belongs here: SQL over tables of claims. Does not belong here: what is done with the rows, any rule.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, identifier, one_row, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.repairs import IS_CLAIM, IS_REPAIR
from schemas.codes import DESK_FILE
from schemas.feeds import record_schema


def decision_row(con: duckdb.DuckDBPyConnection, claim: str) -> pl.DataFrame:
    """The row of `decisions` of a claim, or none."""
    return query_frame(con, "select * from decisions where claim = ?", [claim])


def decision_rows(con: duckdb.DuckDBPyConnection, claims: Sequence[str]) -> pl.DataFrame:
    """The rows of `decisions` of those of the claims that have one."""
    return query_frame(
        con,
        "select * from decisions where claim in (select unnest(?::varchar[]))",
        [list(claims)],
    )


def decisions_around(con: duckdb.DuckDBPyConnection, claims: Sequence[str]) -> pl.DataFrame:
    """The rows of `decisions` of the claims, and of all others on their units and sites."""
    return query_frame(
        con,
        "with named as (select serial, site from decisions "
        "where claim in (select unnest(?::varchar[]))) "
        "select * from decisions where serial in (select serial from named) "
        "or site in (select site from named)",
        [list(claims)],
    )


def finding_rows(con: duckdb.DuckDBPyConnection, claim: str) -> pl.DataFrame:
    """The rows of `findings` of a claim."""
    return query_frame(con, "select * from findings where claim = ?", [claim])


def claims_newest_first(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Every claim decided, the newest first: claim, is_open (it needs evidence or review)."""
    return query_frame(
        con,
        "select claim, standing in ('needs_evidence', 'needs_review') as is_open from decisions "
        "order by coalesce(claimed_on, opened_on) desc, claim",
    )


def lead_findings(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Of each claim the finding that leads its decision: claim, condition, reason."""
    return query_frame(
        con,
        "select f.claim, f.condition, f.reason from findings f "
        "join decisions d on d.claim = f.claim and d.lead_reason = f.condition",
    )


def outcomes(con: duckdb.DuckDBPyConnection, condition: str) -> pl.DataFrame:
    """The outcome of one condition for each claim: claim, condition, outcome."""
    return query_frame(
        con, "select claim, condition, outcome from findings where condition = ?", [condition]
    )


def has_decisions(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether any claim is decided.

    Raises:
        duckdb.Error: the store has no decisions, or cannot be read.
    """
    return one_row(con, "select 1 from decisions limit 1") is not None


def verdict_counts(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How many claims have each verdict that occurs, by its word."""
    counted = query_frame(
        con, "select verdict, count(*) as claims from decisions group by verdict order by verdict"
    )
    return dict(counted.iter_rows())


def latest_changes(con: duckdb.DuckDBPyConnection) -> int:
    """How many rows the latest publication that changed anything put into the history."""
    row = one_row(
        con,
        "with latest as (select publication, decided_at from decision_history "
        "order by publication desc nulls last, decided_at desc limit 1) "
        "select count(*) from decision_history h join latest l on h.decided_at = l.decided_at "
        "and h.publication is not distinct from l.publication",
    )
    return int(row[0]) if row else 0


def newest_change(con: duckdb.DuckDBPyConnection) -> dt.datetime | None:
    """The moment of what this publication adds to the history; None where it adds nothing."""
    added = "select claim, decided_at, as_of from decision_history"
    if has_table(con, f"{LAST}.decision_history"):
        added += f" except all select claim, decided_at, as_of from {LAST}.decision_history"
    row = one_row(con, f"select max(decided_at) from ({added})")
    return row[0] if row else None


def history_fingerprints(con: duckdb.DuckDBPyConnection, publication: int) -> pl.DataFrame:
    """What a publication put into the history of claims it decided: claim, fingerprint."""
    return query_frame(
        con,
        "select claim, fingerprint from decision_history where publication = ? "
        "and to_verdict is not null",
        [publication],
    ).unique("claim")


def claims_on_record(
    con: duckdb.DuckDBPyConnection, where: str = "true", values: Sequence[object] = ()
) -> pl.DataFrame:
    """Claim and serial of every claim on record, seen yet or not, by claim.

    `where` may ask more of the call `c`.
    """
    return query_frame(
        con,
        "select c.claim, c.serial from service_calls c "
        f"where {IS_CLAIM} and {where} order by claim",
        list(values),
    )


def decided_but_not_of(con: duckdb.DuckDBPyConnection, claims: pl.DataFrame) -> pl.DataFrame:
    """The claims (claim) that the published store has decided and these are not."""
    if not has_table(con, f"{LAST}.decisions"):
        return claims.clear()
    with registered(con, claims) as kept:
        return query_frame(
            con, f"select claim from {LAST}.decisions anti join {kept} using (claim)"
        )


def repairs(con: duckdb.DuckDBPyConnection, table: str = "service_calls") -> pl.DataFrame:
    """The service calls that are repairs, typed as the feed's records are.

    `table` is the feed's records, those of the store or of the one published before.
    """
    schema = record_schema("service_calls")
    columns = ", ".join(schema)
    calls = query_frame(con, f"select {columns} from {identifier(table)} where {IS_REPAIR}")
    return calls.cast(schema)


def exported_rulings(con: duckdb.DuckDBPyConnection, claim: str) -> pl.DataFrame:
    """The rulings on a claim that came by exports and are seen by the last refresh's day."""
    return query_frame(
        con,
        "select * from rulings where claim = ? and source_file <> ? and "
        "cast(ruled_at as date) <= (select as_of from store_state) order by ruled_at",
        [claim, DESK_FILE],
    )


def tickets(con: duckdb.DuckDBPyConnection, seed: str) -> pl.DataFrame:
    """A number drawn for each decided claim, the same for the same seed: claim, ticket."""
    return query_frame(
        con, "select claim, sha256(? || chr(31) || claim) as ticket from decisions", [seed]
    )
