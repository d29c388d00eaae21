"""How a condition becomes findings: a table of cases, the first that holds for a claim decides.

Belongs here: the case table, what stands before every condition (register, terms, switched off),
and findings of all conditions together. Does not belong here: any single condition.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from pipelines.coverage.evidence import structured
from schemas import codes
from schemas.columns import TEXTS

_FEW = 1_000  # rows that are looked through sooner than a query is made
BEARING = ("met", "unmet", "unknown", "disputed")


class Case(NamedTuple):
    """One row of a condition's table: when it holds, the outcome and why.

    `document` is what could settle an unknown; only those name one.
    """

    when: pl.Expr
    outcome: str | None
    reason: pl.Expr | str
    document: str | None = None


ALWAYS = pl.lit(True)


def judged(
    claims: pl.DataFrame, cases: Sequence[Case], evidence: Sequence[str | pl.Expr] = ()
) -> pl.DataFrame:
    """The findings of one condition: claim, outcome, reason, evidence, document; one row a claim.

    The first case that holds decides; a comparison with a missing value does not hold, and the
    last case must always hold. `evidence` are the columns (citations or lists of them) that a
    bearing outcome rests on, besides the call; any other outcome cites the call alone. The rows
    stay in the order of `claims`.
    """
    # A claim that no case decides is not lost: without an outcome it does not fit the schema.
    cases = [*cases, Case(ALWAYS, None, pl.lit(None, pl.String))]
    decides: pl.Expr = pl.lit(None, pl.UInt32)
    for number, case in reversed(list(enumerate(cases))):
        holds = case.when.fill_null(False)
        decides = pl.when(holds).then(pl.lit(number, pl.UInt32)).otherwise(decides)
    decided = claims.select(_decides=decides)
    # Few claims meet few cases, and a query of nothing costs as much as one of a few rows.
    numbers = decided["_decides"]
    deciding = sorted(set(numbers if numbers.len() < _FEW else numbers.unique())) or [0]
    cited = _cited(claims, evidence) if evidence else pl.col("call_sources")

    def finding(case: Case) -> list[pl.Expr]:
        reason = pl.lit(case.reason) if isinstance(case.reason, str) else case.reason
        return [
            pl.col("claim"),
            pl.lit(case.outcome, pl.String).alias("outcome"),
            reason.alias("reason"),
            (cited if case.outcome in BEARING else pl.col("call_sources")).alias("evidence"),
            pl.lit(case.document, pl.String).alias("document"),
        ]

    if len(deciding) == 1:
        return claims.select(finding(cases[deciding[0]]))
    # Reasons and citations are put together for those claims alone that show them.
    numbered = claims.with_columns(decided).with_row_index("_row").lazy()
    parts = [
        numbered.filter(pl.col("_decides") == number).select("_row", *finding(cases[number]))
        for number in deciding
    ]
    return pl.concat(pl.collect_all(parts)).sort("_row").drop("_row")


def _cited(claims: pl.DataFrame, evidence: Sequence[str | pl.Expr]) -> pl.Expr:
    """The call's citation and those of the evidence, in one list without nulls."""
    none = pl.lit([], dtype=TEXTS)
    parts = [pl.col(part) if isinstance(part, str) else part for part in evidence]
    if all(isinstance(part, str) for part in evidence):
        kinds = [claims.schema[str(part)] for part in evidence]
    else:
        kinds = claims.lazy().select(parts).collect_schema().dtypes()
    lists = [
        part.fill_null(none) if isinstance(kind, pl.List) else part
        for part, kind in zip(parts, kinds, strict=True)
    ]
    return pl.concat_list("call_source", *lists).list.drop_nulls()


def switched_off(condition: str) -> pl.Expr:
    """Whether the claim's edition switches the condition off."""
    return pl.col("conditions_off").list.contains(condition).fill_null(False)


def gathered(claims: pl.DataFrame, judgments: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """The findings of all conditions in the shape of the findings table, by claim and position.

    A condition that the claim's edition switches off is `not_needed`, whatever else holds.
    `judgments` are each condition's findings before that, in the row order of `claims`.
    """
    ever_off = claims.select(switched_off(name).any().alias(name) for name in codes.CONDITIONS)
    parts = []
    for position, condition in enumerate(codes.CONDITIONS, start=1):
        of_condition = judgments[condition]
        if ever_off.item(0, condition):
            of_condition = _switch_off(condition, of_condition, claims)
        parts.append(
            of_condition.select(
                "claim",
                pl.lit(position, pl.Int64).alias("position"),
                pl.lit(condition).alias("condition"),
                "outcome",
                "reason",
                structured(pl.col("evidence")),
                "document",
            )
        )
    # The conditions come in their order, which a stable sort keeps at half the cost of two keys.
    return pl.concat(parts).sort("claim", maintain_order=True)


def _switch_off(condition: str, of_condition: pl.DataFrame, claims: pl.DataFrame) -> pl.DataFrame:
    off = pl.col("off")
    edition = claims.select("edition", "call_sources", off=switched_off(condition))
    return pl.concat([of_condition, edition], how="horizontal").with_columns(
        outcome=pl.when(off).then(pl.lit("not_needed")).otherwise("outcome"),
        reason=pl.when(off)
        .then(pl.format("Edition {} switches this condition off.", "edition"))
        .otherwise("reason"),
        evidence=pl.when(off).then("call_sources").otherwise("evidence"),
        document=pl.when(~off).then("document"),
    )
