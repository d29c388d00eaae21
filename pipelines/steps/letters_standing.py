"""What stands of all matters that letters are about, read from the store.

Belongs here: putting claims and units together. Does not belong here: what stands of one
(`pipelines.letters.standing`, `pipelines.startups.standing_units`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.coverage.standing import latest_rulings
from pipelines.letters.standing import standing_claims
from pipelines.startups.standing_units import (
    no_longer_told,
    standing_installations,
    standing_recommendations,
)
from pipelines.store.claim_reads import outcomes
from pipelines.store.database import read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import rows_of


def standing_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, register: pl.DataFrame
) -> pl.DataFrame:
    """What stands of all matters in the store, and of the units of which letters were made."""
    decisions = read_frame(con, "decisions")
    findings = outcomes(con, "records_agree")
    rulings = latest_rulings(seen(load_evidence(inputs, con, only=["rulings"])).rulings)
    agencies = inputs.reference.agencies
    standing = standing_claims(decisions, findings, rulings, agencies, inputs.terms.values)
    return pl.concat([standing, *_standing_units(inputs, con, register)])


def _standing_units(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, register: pl.DataFrame
) -> list[pl.DataFrame]:
    """What stands of installations and of waters, and the matters of which nothing does."""
    agencies = inputs.reference.agencies
    started = seen(load_evidence(inputs, con, only=["startups"])).startups
    of_kinds = [
        standing_installations(
            read_frame(con, "startup_reviews"), read_frame(con, "installation_findings"), agencies
        ),
        standing_recommendations(read_frame(con, "treatment_recommendations"), started, agencies),
    ]
    of_units = register.get_column("serial").drop_nulls().unique()
    on_file = rows_of(con, "unit_histories", of_units).get_column("serial")
    return [*of_kinds, no_longer_told(pl.concat(of_kinds), register, on_file)]
