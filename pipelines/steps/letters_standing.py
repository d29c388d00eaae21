"""What stands of all matters that letters are about, read from the store.

Belongs here: putting claims and units together, and the kinds that the settings name. Does not
belong here: what stands of one (`pipelines.letters.standing`, `pipelines.startups.standing_units`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.coverage.standing import latest_rulings
from pipelines.letters.standing import standing_claims, told_kinds
from pipelines.startups.standing_units import (
    standing_installations,
    standing_recommendations,
)
from pipelines.store.claim_reads import outcomes
from pipelines.store.database import read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.inputs import Inputs


def standing_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, claims: pl.DataFrame | None = None
) -> pl.DataFrame:
    """What stands of all matters in the store, or of these claims (claim)."""
    decisions = read_frame(con, "decisions")
    if claims is not None:
        decisions = decisions.join(claims, on="claim", how="semi")
    findings = outcomes(con, "records_agree")
    rulings = latest_rulings(seen(load_evidence(inputs, con, only=["rulings"])).rulings)
    agencies, kinds = inputs.reference.agencies, inputs.settings.letters.kinds
    standing = standing_claims(decisions, findings, rulings, agencies, inputs.terms.values)
    if claims is None:
        standing = pl.concat([standing, *_standing_units(inputs, con)])
    return told_kinds(standing, kinds)


def _standing_units(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> list[pl.DataFrame]:
    """What stands of installations and of waters."""
    agencies = inputs.reference.agencies
    started = seen(load_evidence(inputs, con, only=["startups"])).startups
    return [
        standing_installations(
            read_frame(con, "startup_reviews"), read_frame(con, "installation_findings"), agencies
        ),
        standing_recommendations(read_frame(con, "treatment_recommendations"), started, agencies),
    ]
