"""Decides every claim of the store and carries the history on.

Belongs here: reading what a decision needs and what was decided before. Does not belong here: any
rule (`pipelines.coverage`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage import decide
from pipelines.coverage.history import changes
from pipelines.refresh.evidence import load_evidence
from pipelines.refresh.session import RefreshSession
from pipelines.warehouse.database import read_frame
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory, Decisions, Findings


@dataclass(frozen=True)
class DecidedTables:
    """The three tables of decisions."""

    findings: pl.DataFrame
    decisions: pl.DataFrame
    decision_history: pl.DataFrame


def decide_claims(session: RefreshSession) -> DecidedTables:
    """Decides, compares with the findings and decisions of the last refresh, adds what moved."""
    con, inputs = session.con, session.inputs
    before = {
        name: read_frame(con, name, schema=polars_schema(table))
        for name, table in (
            ("decisions", Decisions),
            ("findings", Findings),
            ("decision_history", DecisionHistory),
        )
    }
    evidence = load_evidence(inputs, con)
    decided = decide(evidence, inputs.terms, before["decision_history"], inputs.settings.timezone)
    moved = changes(
        before["decisions"],
        before["findings"],
        decided.decisions,
        decided.findings,
        evidence,
        session.decided_at,
    )
    return DecidedTables(
        decided.findings,
        decided.decisions,
        pl.concat([before["decision_history"], moved]),
    )
