"""How a condition becomes findings: a table of cases, the first that holds for a claim decides.

Belongs here: the case table, what stands before every condition (register, terms, switched off),
and findings of all conditions together. Does not belong here: any single condition.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from schemas import codes
from schemas.columns import TEXTS

BEARING = ("met", "unmet", "unknown", "disputed")
FINDING_COLUMNS = ("claim", "outcome", "reason", "evidence", "document")


class Case(NamedTuple):
    """One row of a condition's table: when it holds, the outcome and why.

    `document` is what could settle an unknown; only those name one.
    """

    when: pl.Expr
    outcome: str
    reason: pl.Expr | str
    document: str | None = None


ALWAYS = pl.lit(True)


def judged(
    claims: pl.DataFrame, cases: Sequence[Case], evidence: Sequence[str | pl.Expr] = ()
) -> pl.DataFrame:
    """The findings of one condition: claim, outcome, reason, evidence, document; one row a claim.

    The first case that holds decides; a comparison with a missing value does not hold, and the
    last case must always hold. `evidence` are the columns (citations or lists of them) that a
    bearing outcome rests on, besides the call; any other outcome cites the call alone.
    """
    outcome: pl.Expr = pl.lit(None, pl.String)
    reason: pl.Expr = pl.lit(None, pl.String)
    document: pl.Expr = pl.lit(None, pl.String)
    for case in reversed(cases):
        holds = case.when.fill_null(False)
        why = pl.lit(case.reason) if isinstance(case.reason, str) else case.reason
        outcome = pl.when(holds).then(pl.lit(case.outcome)).otherwise(outcome)
        reason = pl.when(holds).then(why).otherwise(reason)
        document = pl.when(holds).then(pl.lit(case.document, pl.String)).otherwise(document)
    found = claims.with_columns(outcome=outcome, reason=reason, document=document)
    call_alone = pl.col("call_sources")
    if evidence:
        none = pl.lit([], dtype=TEXTS)
        parts = [pl.col(part) if isinstance(part, str) else part for part in evidence]
        schema = claims.select(parts).schema
        cited = pl.concat_list(
            "call_source",
            *(
                part.fill_null(none) if isinstance(kind, pl.List) else part
                for part, kind in zip(parts, schema.values(), strict=True)
            ),
        ).list.drop_nulls()
        bears = pl.col("outcome").is_in(BEARING)
        found = found.with_columns(evidence=pl.when(bears).then(cited).otherwise(call_alone))
    else:
        found = found.with_columns(evidence=call_alone)
    return found.select(FINDING_COLUMNS)


def gathered(claims: pl.DataFrame, judgments: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """The findings of all conditions in the shape of the findings table, by claim and position.

    A condition that the claim's edition switches off is `not_needed`, whatever else holds.
    `judgments` are each condition's findings before that, in the row order of `claims`.
    """
    parts = []
    for position, condition in enumerate(codes.CONDITIONS, start=1):
        found = judgments[condition]
        off = claims.get_column("conditions_off").list.contains(condition).fill_null(False)
        if off.any():
            found = _switched_off(
                found.with_columns(
                    off, claims.get_column("edition"), claims.get_column("call_sources")
                )
            )
        parts.append(
            found.select(
                "claim",
                pl.lit(position, pl.Int64).alias("position"),
                pl.lit(condition).alias("condition"),
                *FINDING_COLUMNS[1:],
            )
        )
    return pl.concat(parts).sort("claim", "position")


def _switched_off(found: pl.DataFrame) -> pl.DataFrame:
    off = pl.col("conditions_off")
    return found.with_columns(
        outcome=pl.when(off).then(pl.lit("not_needed")).otherwise("outcome"),
        reason=pl.when(off)
        .then(pl.format("Edition {} switches this condition off.", "edition"))
        .otherwise("reason"),
        evidence=pl.when(off).then("call_sources").otherwise("evidence"),
        document=pl.when(~off).then("document"),
    )
