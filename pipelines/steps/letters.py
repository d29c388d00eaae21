"""The letters of claims out of the store.

Belongs here: reading what a letter rests on, and which claims a morning decided. Does not belong
here: what a letter says (`pipelines.letters`) or how it looks (`dashboards.letters`).
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipelines.coverage.claims import claims_of
from pipelines.coverage.evidence import Evidence, seen
from pipelines.letters import letters_of
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.lookups import rows_of
from pipelines.store.reading import open_store, published_state
from pipelines.store.rulings import rulings_since
from pipelines.workspace.layout import Workspace


@dataclass(frozen=True)
class StoredLetters:
    """Letters as of the last refresh.

    `values` are rows of `schemas.letters.LETTERS`. `ruled_since` are claims that were asked for and
    have no letter, since a ruling was recorded after that refresh. `is_behind` tells whether
    settings, terms, reference files or templates have changed since.
    """

    inputs: Inputs
    values: pl.DataFrame
    ruled_since: list[str]
    refreshed_at: dt.datetime
    is_behind: bool


def letters_of_claims(folder: str | Path, claims: Sequence[str]) -> StoredLetters:
    """The letters of the named claims; none for a claim that the store does not hold."""
    workspace = Workspace.open(folder)
    with open_store(workspace) as con:
        return _letters(workspace, con, pl.Series("claim", claims, dtype=pl.String))


def _letters(
    workspace: Workspace, con: duckdb.DuckDBPyConnection, claims: pl.Series
) -> StoredLetters:
    state = published_state(workspace, con)
    inputs = load_inputs(workspace.root, state.as_of)
    newer = {row["claim"] for row in rulings_since(inputs.recorded, con)}
    wanted = claims.filter(~claims.is_in(list(newer)))
    decisions, findings = (rows_of(con, table, wanted) for table in ("decisions", "findings"))
    evidence = seen(evidence_around(inputs, con, decisions["serial"].unique()))
    facts_of_claims = claim_facts(inputs, evidence, decisions)
    return StoredLetters(
        inputs,
        letters_of_evidence(inputs, evidence, decisions, findings, facts_of_claims),
        sorted(newer.intersection(claims)),
        state.published_at.replace(microsecond=0),
        state.is_behind(inputs),
    )


def claim_facts(inputs: Inputs, evidence: Evidence, claims: pl.DataFrame) -> pl.DataFrame:
    """What is on file about some claims, in the shape of `coverage.claims.claims_of`."""
    calls = evidence.service_calls.join(claims, on="claim", how="semi")
    return claims_of(dataclasses.replace(evidence, service_calls=calls), inputs.terms)


def letters_of_evidence(
    inputs: Inputs,
    evidence: Evidence,
    decisions: pl.DataFrame,
    findings: pl.DataFrame,
    facts: pl.DataFrame,
) -> pl.DataFrame:
    """The letters of these decisions; `facts` are the `claim_facts` of their claims."""
    return letters_of(
        decisions,
        findings,
        facts,
        evidence.rulings,
        inputs.reference.agencies,
        maker=inputs.settings.maker,
        currency=inputs.settings.currency,
        as_of=inputs.as_of,
    )
