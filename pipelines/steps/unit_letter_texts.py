"""The texts of new letters about units, as they are frozen.

Belongs here: reading what their values rest on, and filling templates. Does not belong here: which
letters are due (`letter_register`), or what one says (`pipelines.startups.unit_letters`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.startups.unit_letters import installation_letters, recommendation_letters
from pipelines.steps.frozen_letters import frozen_letter
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import rows_of
from schemas.columns import polars_schema
from schemas.register import LetterTexts


def unit_texts(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, entries: pl.DataFrame
) -> pl.DataFrame:
    """The texts of new entries on units; what was told before has none.

    Raises:
        WorkspaceError: a template of the company's does not work for one of them.
    """
    to_send = entries.filter(pl.col("state") == "to_send")
    if to_send.is_empty():
        return pl.DataFrame(schema=polars_schema(LetterTexts))
    letters = {
        (row["kind"], row["serial"]): row for row in _values(inputs, con, to_send).to_dicts()
    }
    rows = [
        frozen_letter(
            inputs.letter_templates, entry["entry"], letters[entry["kind"], entry["serial"]]
        )
        for entry in to_send.to_dicts()
    ]
    return pl.DataFrame(rows, schema=polars_schema(LetterTexts))


def _values(inputs: Inputs, con: duckdb.DuckDBPyConnection, entries: pl.DataFrame) -> pl.DataFrame:
    serials = entries["serial"]
    reference, terms = inputs.reference, inputs.terms
    evidence = seen(evidence_around(inputs, con, serials.unique()))
    return pl.concat(
        [
            installation_letters(
                rows_of(con, "startup_reviews", serials),
                rows_of(con, "installation_findings", serials),
                reference.agencies,
                terms.values,
            ),
            recommendation_letters(
                rows_of(con, "treatment_recommendations", serials),
                evidence.startups,
                evidence.water_tests,
                reference.regions,
                reference.agencies,
                terms.water_limits,
                terms.values,
            ),
        ]
    )
