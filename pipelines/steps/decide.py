"""Decides every claim of the store and carries the history on.

Belongs here: reading what a decision needs and what was decided before, part by part. Does not
belong here: any rule (`pipelines.coverage`), what is done with a part (`engine.claim_part`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass

import duckdb
import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.coverage.history import Grounds, changes
from pipelines.engine.claim_part import CLAIM_TABLES
from pipelines.engine.ground import DECIDING
from pipelines.records.suggestions import near_misses
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.archive.tables import next_publication
from pipelines.store.claim_reads import claims_on_record, decided_but_not_of
from pipelines.store.evidence import (
    days_on_rulings,
    fleet,
    ground_of,
    load_evidence,
    records_around,
)
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import claims_to_decide
from pipelines.store.last import last_rows
from pipelines.store.transaction import RefreshSession
from schemas.columns import MOMENT, Table, polars_schema
from schemas.decisions import DecisionHistory, Decisions, Findings

BEFORE: dict[str, type[Table]] = {
    "decisions": Decisions,
    "findings": Findings,
    "decision_history": DecisionHistory,
}


@dataclass(frozen=True)
class Deciding:
    """What comes of a refresh: the claims (claim) whose rows stay, and all others decided.

    The tables of BEFORE come part by part, at least one; of the history what is to be added, in
    the last one also of claims that are gone.
    """

    standing: pl.DataFrame
    parts: Iterator[dict[str, pl.DataFrame]]


def decision_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Decides every claim: those that can come out otherwise anew, the others carried over."""
    deciding = decide_claims(session)
    writers = {name: session.writer(name, table) for name, table in BEFORE.items()}
    before = last_rows(session.con, "decision_history", DecisionHistory)
    writers["decision_history"].add(before)
    added = []
    for decided in deciding.parts:
        added.append(decided["decision_history"])
        for name in ("findings", "decisions"):
            writers[name].add(decided[name])
        del decided  # it is being written, and need not stand beside what is decided next
    writers["decision_history"].add(pl.concat(added).sort("claim"))
    for name in ("findings", "decisions"):
        writers[name].sort(CLAIM_TABLES[name])
        writers[name].carry_over(deciding.standing, CLAIM_TABLES[name])
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
) -> Iterator[dict[str, pl.DataFrame]]:
    ground = ground_of(session.inputs, session.con)
    for decided in session.engine.run("claims", ground, _parts(session, moving)):
        moved = _as_of_run(session, decided["decision_history"])
        yield {**decided, "decision_history": moved}
        del decided, moved
    none = pl.DataFrame(schema=polars_schema(Findings))
    yield {
        "findings": none,
        "decisions": pl.DataFrame(schema=polars_schema(Decisions)),
        "decision_history": _gone(session, claims.select("claim"), none),
    }


def _parts(session: RefreshSession, moving: pl.DataFrame) -> Iterator[dict[str, pl.DataFrame]]:
    """What is decided again, part by part, with what that rests on; parts without any are none."""
    con, inputs = session.con, session.inputs
    suggestions = suggested_serials(inputs, con, moving["serial"])
    parts = fleet(con, inputs.settings.engine.parts)
    placed = moving.with_columns(part=parts.of(moving))
    for part in placed["part"].unique().sort():
        claims = placed.filter(pl.col("part") == part).drop("part")
        last = {f"last_{name}": last_rows(con, name, BEFORE[name], claims) for name in BEFORE}
        records = records_around(con, claims["serial"].unique())
        own_suggestions = suggestions.join(claims, on="serial", how="semi", maintain_order="left")
        ruled = {
            name: frame.join(claims, on="claim", how="semi", maintain_order="left")
            for name, frame in days_on_rulings(inputs).items()
        }
        yield {**records, **last, **ruled, "claims": claims, "suggestions": own_suggestions}
        del records, last


def _as_of_run(session: RefreshSession, moved: pl.DataFrame) -> pl.DataFrame:
    """The rows for the history with what the run tells of itself."""
    grounds = {name: pl.lit(value) for name, value in asdict(grounds_of(session)).items()}
    return moved.with_columns(
        decided_at=pl.lit(session.decided_at, dtype=MOMENT), **grounds
    ).select(pl.col(name).cast(kind) for name, kind in polars_schema(DecisionHistory).items())


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


def _gone(session: RefreshSession, claims: pl.DataFrame, none: pl.DataFrame) -> pl.DataFrame:
    """What the history says of claims that the last refresh had and the records have no more."""
    con = session.con
    gone = last_rows(con, "decisions", Decisions, decided_but_not_of(con, claims))
    nothing = load_evidence(session.inputs, con, only=[])
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
        "pipelines/engine",
        "pipelines/steps/decide.py",
        "pipelines/store/invalidation.py",
    ),
    about={"decision_history": "Rows are only ever added."},
)
