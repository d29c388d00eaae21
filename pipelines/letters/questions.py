"""What the agency is asked of facts that the records dispute: one question a fact.

Belongs here: questions, with both values on file. Does not belong here: which facts are disputed
(`pipelines.coverage.conditions`), or documents that are missing (`documents`).
"""

from __future__ import annotations

import polars as pl

# How `records_agree` opens the list of its contradictions, each with both days.
_CONTRADICTIONS = "The records contradict each other: "
_ASKS = "Tell us which is right, with a copy of a record that shows it."


def questions_of(deciding: pl.DataFrame) -> pl.DataFrame:
    """claim, questions: of the claims with a disputed fact, in the order of the conditions.

    Args:
        deciding: of `reasons.deciding_findings`.
    """
    disputed = deciding.filter(pl.col("outcome") == "disputed")
    contradicts = pl.col("reason").str.starts_with(_CONTRADICTIONS)
    facts = (
        pl.col("reason")
        .str.strip_prefix(_CONTRADICTIONS)
        .str.replace(r" \(records as of [^)]*\)\.$", "")
        .str.strip_suffix(".")
        .str.split("; ")
    )
    each = disputed.with_columns(
        fact=pl.when(contradicts).then(facts).otherwise(pl.concat_list("reason")),
        contradicts=contradicts,
    ).explode("fact")
    question = (
        pl.when("contradicts")
        .then(pl.format("On file: {}. Both cannot be. {}", "fact", pl.lit(_ASKS)))
        .otherwise(pl.format("{} Tell us what you know of it.", "fact"))
    )
    return (
        each.sort("claim", "position", maintain_order=True)
        .group_by("claim", maintain_order=True)
        .agg(questions=question)
    )
