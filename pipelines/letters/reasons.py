"""The deciding reasons of a claim, each a dated sentence with its clause.

Belongs here: which findings decided, and how a letter tells them. Does not belong here: the
findings themselves, or documents that could still settle one (`documents`).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.letters.clauses import VALUE_COLUMNS, clause
from pipelines.letters.wording import one_line

WINDOWS = ("within_parts_window", "within_labor_window")
_A_DAY = r"\d{4}-\d{2}-\d{2}"


def deciding_findings(claims: pl.DataFrame, findings: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """The findings that decided each claim.

    What is unmet decides a claim that is not covered, with what is not known or disputed one that
    is open, and the windows one that is covered whole or in part.

    Args:
        claims: claim, verdict, edition and the VALUE_COLUMNS of the claim's terms.
        findings: of the same claims.
        as_of: told where a reason names no day of its own.

    Returns:
        claim, position, condition, outcome, document, reason (one sentence with a day), clause; by
        claim and position.
    """
    outcome, verdict, condition = pl.col("outcome"), pl.col("verdict"), pl.col("condition")
    window = condition.is_in(WINDOWS) & (outcome == "met")
    decides = (
        pl.when(verdict == "not_covered")
        .then(outcome == "unmet")
        .when(verdict.is_in(["covered", "covered_in_part"]))
        .then(window | (outcome == "unmet"))
        .otherwise(outcome.is_in(["unmet", "unknown", "disputed"]))
    )
    reason = one_line("reason")
    undated = pl.format("{} (records as of {}).", reason.str.strip_suffix("."), pl.lit(as_of))
    return (
        findings.join(claims.select("claim", "verdict", "edition", *VALUE_COLUMNS), on="claim")
        .filter(decides)
        .sort("claim", "position")
        .select(
            "claim",
            "position",
            "condition",
            "outcome",
            "document",
            reason=pl.when(reason.str.contains(_A_DAY)).then(reason).otherwise(undated),
            clause=clause(),
        )
    )
