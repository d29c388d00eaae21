"""Decides every claim of the store and carries the history on.

Belongs here: reading what a decision needs and what was decided before, so many claims at a time.
Does not belong here: any rule (`pipelines.coverage`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.coverage import decide
from pipelines.coverage.evidence import seen
from pipelines.coverage.history import Grounds, changes
from pipelines.records.suggestions import near_misses
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.archive.tables import next_publication
from pipelines.store.claim_reads import claims_on_record, decided_but_not_of
from pipelines.store.evidence import DECIDING, evidence_around, load_evidence
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import claims_to_decide
from pipelines.store.last import last_rows
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

    Batches come by claim, at least one; the last one also tells of claims that are gone.
    """

    standing: pl.DataFrame
    batches: Iterator[DecidedTables]


def decision_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Decides every claim: those that can come out otherwise anew, the others carried over."""
    deciding = decide_claims(session)
    writers = {name: session.writer(name, table) for name, table in BEFORE.items()}
    before = last_rows(session.con, "decision_history", DecisionHistory)
    writers["decision_history"].add(before)
    for decided in deciding.batches:
        for name, writer in writers.items():
            writer.add(getattr(decided, name))
    writers["findings"].carry_over(deciding.standing, ["claim", "position"])
    writers["decisions"].carry_over(deciding.standing, ["claim"])
    chosen = [name for name in STEP.tables if name in wanted]
    session.put(*(writers[name] for name in chosen))
    yield from (Written(name) for name in chosen)


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
        replaced = {name: last_rows(con, name, table, batch) for name, table in BEFORE.items()}
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
            grounds_of(session),
        )
        if start + BATCH >= moving.height:
            moved = pl.concat([moved, _gone(session, claims.select("claim"))])
        yield DecidedTables(decided.findings, decided.decisions, moved)


def grounds_of(session: RefreshSession) -> Grounds:
    """What the history tells of the publication that this run would be."""
    state = session.state
    return Grounds(
        next_publication(session.con),
        state.terms,
        state.reference,
        state.settings,
        state.tool_version,
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


def _gone(session: RefreshSession, claims: pl.DataFrame) -> pl.DataFrame:
    """What the history says of claims that the last refresh had and the records have no more."""
    con = session.con
    gone = last_rows(con, "decisions", Decisions, decided_but_not_of(con, claims))
    nothing = load_evidence(session.inputs, con, only=[])
    none = pl.DataFrame(schema=polars_schema(Findings))
    return changes(gone, none, gone.clear(), none, nothing, session.decided_at, grounds_of(session))


STEP = Step(
    name="claim_decisions",
    group="decisions",
    title="Decisions",
    tables={"findings": Findings, "decisions": Decisions, "decision_history": DecisionHistory},
    reads=(
        *DECIDING,
        "export_files",
        "feed_states",
        *REFERENCE_ASSETS,
        "terms_values",
        "terms_water_limits",
        "terms_installation_limits",
    ),
    within={"decisions": ("findings",), "decision_history": ("findings", "decisions")},
    work=decision_tables,
    rooms=(
        "pipelines/coverage",
        "pipelines/terms",
        "pipelines/water",
        "pipelines/steps/decide.py",
        "pipelines/store/invalidation.py",
    ),
    about={"decision_history": "Rows are only ever added."},
)
