"""The texts of new letters, as they are frozen.

Belongs here: what their values rest on, and filling templates for entries of the register. Does not
belong here: which letters are due (`letter_register`), or what a letter says (`pipelines.letters`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from dashboards.letters import LetterTemplates
from pipelines.coverage.evidence import seen
from pipelines.letters.matters import ASKING
from pipelines.steps.frozen_letters import frozen_letter
from pipelines.steps.letters import claim_facts, letters_of_evidence
from pipelines.steps.unit_letter_texts import unit_texts
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import rows_of
from schemas.columns import polars_schema
from schemas.register import LetterTexts

MOST_TOLD_BEFORE = 2_500
TEXTS_SCHEMA = polars_schema(LetterTexts)


def texts_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, register: pl.DataFrame, entries: pl.DataFrame
) -> pl.DataFrame:
    """The texts of new entries, in the shape of LetterTexts.

    What was told before is written down as it stands now, but not for a large fleet: tens of
    thousands of letters that nobody will send.
    """
    of_units = unit_texts(inputs, con, entries.filter(pl.col("claim").is_null()))
    of_claims = entries.filter(pl.col("claim").is_not_null())
    if of_claims.height > MOST_TOLD_BEFORE:
        of_claims = of_claims.filter(pl.col("state") == "to_send")
    if of_claims.is_empty():
        return of_units
    claims = of_claims.select("claim").unique()
    decisions, findings = (
        rows_of(con, table, claims["claim"]) for table in ("decisions", "findings")
    )
    evidence = seen(evidence_around(inputs, con, decisions["serial"].unique()))
    facts = claim_facts(inputs, evidence, decisions)
    values = letters_of_evidence(inputs, evidence, decisions, findings, facts)
    written = written_letters(inputs.letter_templates, values, of_claims, register)
    return pl.concat([written, of_units])


def written_letters(
    templates: LetterTemplates,
    values: pl.DataFrame,
    entries: pl.DataFrame,
    register: pl.DataFrame,
) -> pl.DataFrame:
    """The letters of entries on claims, as they are frozen.

    Args:
        values: rows of `schemas.letters.LETTERS`, one a claim.
        entries: the entries to write, each of one of these claims.
        register: holds the requests that reminders repeat.

    Raises:
        WorkspaceError: a template of the company's does not work for one of them.
    """
    by_claim = {row["claim"]: row for row in values.to_dicts()}
    sent = {row["entry"]: row["sent_on"] or row["as_of"] for row in register.to_dicts()}
    rows = []
    for entry in entries.to_dicts():
        letter = dict(by_claim[entry["claim"]])
        if entry["kind"] in (*ASKING, "reminder"):
            for part in ("documents", "questions"):
                letter[f"{part}_due_on"] = entry["due_on"] if letter[part] else None
        letter["reminded_on"] = sent.get(entry["reminds"])
        rows.append(frozen_letter(templates, entry["entry"], letter))
    return pl.DataFrame(rows, schema=TEXTS_SCHEMA)
