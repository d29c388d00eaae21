"""What a letter to an agency says: the values that its templates may name.

Belongs here: the shape. Does not belong here: how a claim becomes a letter (`pipelines.letters`),
or how a letter looks (`dashboards.letters`). Letters are not kept: they follow from the decisions.
"""

from typing import Any

import polars as pl

from schemas.columns import CENTS, TEXTS

# One row is one letter. Texts are on one line each, without control characters. Lists that belong
# together (`reasons` and `clauses`; `documents`, `forms` and `document_clauses`) have one order
# and length; none is ever null.
_COLUMNS: dict[str, Any] = {
    "claim": pl.String(),
    "call": pl.String(),
    "agency": pl.String(),
    "agency_name": pl.String(),
    "agency_email": pl.String(),
    "serial": pl.String(),
    "model": pl.String(),
    "family": pl.String(),
    "site": pl.String(),
    "site_name": pl.String(),
    "failed_on": pl.Date(),
    "completed_on": pl.Date(),
    "claimed_on": pl.Date(),
    "cause": pl.String(),
    "cause_words": pl.String(),
    "edition": pl.String(),
    "verdict": pl.String(),  # the computed one
    "standing": pl.String(),  # what stands: the ruling, else the computed verdict
    "ruling": pl.String(),
    "ruled_on": pl.Date(),
    "ruling_reason": pl.String(),
    "look_again": pl.Boolean(),  # records have come in since the ruling that change the verdict
    "decision": pl.String(),  # the decision in one sentence
    "basis": pl.String(),  # whether it is computed or ruled, in one sentence
    "appeal": pl.String(),  # how to appeal, in one sentence
    "reasons": TEXTS,
    "clauses": TEXTS,
    "documents": TEXTS,
    "forms": TEXTS,  # what each document must show to serve
    "document_clauses": TEXTS,
    "documents_due_on": pl.Date(),
    "questions": TEXTS,  # what is asked of each disputed fact, with both values on file
    "questions_due_on": pl.Date(),  # the last day to answer them, of a letter of the register
    "reminded_on": pl.Date(),  # the day of the request that this repeats, where it is a reminder
    "parts_claimed": CENTS,
    "labor_claimed": CENTS,
    "travel_claimed": CENTS,
    "total_claimed": CENTS,
    "parts_standing": CENTS,
    "labor_standing": CENTS,
    "travel_standing": CENTS,
    "total_standing": CENTS,
    "money_notes": TEXTS,  # why a line pays less than was claimed
    "cautions": TEXTS,
}
LETTERS = pl.Schema(_COLUMNS)
