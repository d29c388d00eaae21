"""Sets of facts put to the test, many at a time.

Belongs here: the evidence with each set of facts in a copy of its own. Does not belong here: which
sets are tried (`search`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipelines.counterfactuals.candidate_facts import FACTS
from pipelines.counterfactuals.hypothetical_records import changed
from pipelines.counterfactuals.record_copies import copies
from pipelines.coverage import Evidence
from pipelines.terms import Terms

# Before every name of a hypothesis; of one length, with signs that no export uses.
_MARK, _MARKS = "\ue000{:07}\ue001", "\ue000[0-9]+\ue001"


def without_marks(text: pl.Expr) -> pl.Expr:
    """A sentence with the names as they are on record."""
    return text.str.replace_all(_MARKS, "")


def hypothetical_evidence(
    evidence: Evidence,
    terms: Terms,
    decisions: pl.DataFrame,
    sets: Sequence[tuple[str, Sequence[Mapping[str, Any]]]],
) -> tuple[Evidence, pl.DataFrame]:
    """What would be on record with each of some sets of facts, side by side.

    Args:
        evidence, terms: as for `what_would_turn`.
        decisions: claim, call, serial, serial_suggestion.
        sets: a claim and facts (of `Turn.facts`) each.

    Returns:
        The evidence, and a row a set in the same order: state (what stands before the claim's
        number there), claim, call, serial, serial_suggestion, source.
    """
    corrected = [
        next((fact["text"] for fact in facts if fact["kind"] == "serial"), None)
        for _, facts in sets
    ]
    states = pl.DataFrame(
        {
            "state": [_MARK.format(number) for number in range(len(sets))],
            "claim": [claim for claim, _ in sets],
            "corrected": corrected,
        },
        schema={"state": pl.String, "claim": pl.String, "corrected": pl.String},
    ).join(
        decisions.select("claim", "call", "serial", "serial_suggestion"),
        on="claim",
        maintain_order="left",
    )
    states = states.with_columns(source=pl.coalesce("corrected", "serial")).drop("corrected")
    rows = [
        {**fact, "state": state}
        for state, (_, facts) in zip(states["state"], sets, strict=True)
        for fact in facts
    ]
    put = pl.DataFrame(rows, schema=FACTS).join(
        states.select("state", "claim", "source"), on="state", maintain_order="left"
    )
    return changed(copies(evidence, states), put, terms), states
