"""Decides every claim of the store and carries the history on.

Belongs here: reading what a decision needs and what was decided before, so many claims at a time.
Does not belong here: any rule (`pipelines.coverage`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.coverage import decide
from pipelines.coverage.evidence import seen
from pipelines.coverage.history import changes
from pipelines.records.suggestions import near_misses
from pipelines.store.database import has_table, query_frame, registered
from pipelines.store.evidence import evidence_around, load_evidence
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import claims_to_decide
from pipelines.store.repairs import IS_CLAIM
from pipelines.store.transaction import RefreshSession
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory, Decisions, Findings

# Claims decided at a time: what stands in memory is their evidence and their findings.
BATCH = 50_000
BEFORE = {"decisions": Decisions, "findings": Findings, "decision_history": DecisionHistory}


@dataclass(frozen=True)
class DecidedTables:
    """Of some claims: their findings and decisions, and what is to be added to the history."""

    findings: pl.DataFrame
    decisions: pl.DataFrame
    decision_history: pl.DataFrame


@dataclass(frozen=True)
class Deciding:
    """What comes of a refresh: the claims (claim) whose rows stay, and all others decided.

    Batches come by claim, at least one; the last one also tells of claims that are gone. The
    tables of the last refresh must stand untouched until the last batch is had.
    """

    standing: pl.DataFrame
    batches: Iterator[DecidedTables]


def decide_claims(session: RefreshSession) -> Deciding:
    """Decides what can come out otherwise, and adds to the history what did."""
    claims = claims_on_record(session.con)
    moving = claims_to_decide(session, claims)
    session.progress(f"  {moving.height:,} of {claims.height:,} claims are to be decided")
    standing = claims.join(moving, on="claim", how="anti").select("claim")
    return Deciding(standing, _decided(session, claims, moving))


def _decided(
    session: RefreshSession, claims: pl.DataFrame, moving: pl.DataFrame
) -> Iterator[DecidedTables]:
    con, inputs = session.con, session.inputs
    suggestions = suggested_serials(inputs, con, moving["serial"])
    for start in range(0, max(moving.height, 1), BATCH):
        batch = moving.slice(start, BATCH)
        evidence = evidence_around(inputs, con, batch["serial"].unique())
        replaced = {name: _of_claims(con, name, batch) for name in BEFORE}
        decided = decide(
            evidence,
            inputs.terms,
            replaced["decision_history"],
            inputs.settings.timezone,
            only=batch.select("claim"),
            suggestions=suggestions,
            ruling_limits=inputs.settings.ruling_limits,
        )
        moved = changes(
            replaced["decisions"],
            replaced["findings"],
            decided.decisions,
            decided.findings,
            evidence,
            session.decided_at,
        )
        if start + BATCH >= moving.height:
            moved = pl.concat([moved, _gone(session, claims.select("claim"))])
        yield DecidedTables(decided.findings, decided.decisions, moved)


def claims_on_record(
    con: duckdb.DuckDBPyConnection, where: str = "true", values: Sequence[object] = ()
) -> pl.DataFrame:
    """Claim and serial of every claim on record, seen yet or not, by claim.

    `where` may ask more of the call `c` and its unit `u`.
    """
    return query_frame(
        con,
        "select c.claim, c.serial from service_calls c left join units u using (serial) "
        f"where {IS_CLAIM} and {where} order by claim",
        list(values),
    )


def suggested_serials(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, serials: pl.Series
) -> pl.DataFrame:
    """The near misses of those serials that are not on the register as of the day."""
    evidence = load_evidence(inputs, con, only=["units"])
    register = seen(evidence).units["serial"]
    unknown = (
        serials.unique()
        .to_frame("serial")
        .join(register.to_frame("serial"), on="serial", how="anti")
    )
    return near_misses(unknown["serial"], register)


def _of_claims(con: duckdb.DuckDBPyConnection, name: str, claims: pl.DataFrame) -> pl.DataFrame:
    """The rows that a table of the last refresh has of some claims."""
    schema = polars_schema(BEFORE[name])
    if not has_table(con, name):
        return pl.DataFrame(schema=schema)
    with registered(con, claims.select("claim")) as wanted:
        rows = query_frame(con, f"select * from {name} semi join {wanted} using (claim)")
    return rows.cast(schema)


def _gone(session: RefreshSession, claims: pl.DataFrame) -> pl.DataFrame:
    """What the history says of claims that the last refresh had and the records have no more."""
    con = session.con
    gone = pl.DataFrame(schema=polars_schema(Decisions))
    if has_table(con, "decisions"):
        with registered(con, claims) as kept:
            rows = query_frame(con, f"select * from decisions anti join {kept} using (claim)")
        gone = rows.cast(gone.schema)
    nothing = load_evidence(session.inputs, con, only=[])
    none = pl.DataFrame(schema=polars_schema(Findings))
    return changes(gone, none, gone.clear(), none, nothing, session.decided_at)
