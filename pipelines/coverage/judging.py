"""The conditions in their order, each with the facts that it declares.

Belongs here: finding the modules and joining what they need. Does not belong here: any rule, and
what the findings add up to (`verdict`).
"""

from __future__ import annotations

from importlib import import_module
from typing import cast

import polars as pl

from pipelines.coverage.declarations import Condition
from pipelines.coverage.evidence import Evidence
from pipelines.terms import Terms
from schemas import codes

# One module each, by its name in the list of codes, whose order is that of the contract.
CONDITIONS: dict[str, Condition] = {
    name: cast(Condition, import_module(f"pipelines.coverage.conditions.{name}"))
    for name in codes.CONDITIONS
}


def judge_in_order(
    claims: pl.DataFrame, evidence: Evidence, terms: Terms
) -> tuple[pl.DataFrame, dict[str, pl.DataFrame]]:
    """The claims with all facts and outcomes, and the findings of each condition.

    Args:
        claims: of `claims.claims_of`, with twins and the suggestions of serials.
        evidence, terms: what the facts are drawn from.
    """
    findings = {}
    for name, condition in CONDITIONS.items():
        for fact in condition.FACTS:
            if not set(fact.columns) <= set(claims.columns):
                claims = fact.added(claims, evidence, terms)
        findings[name] = condition.judge(claims, evidence)
        # Before any switching off: what depends on a condition that is off goes by the outcome
        # that it would have had (decisions.md, after 20).
        claims = claims.with_columns(findings[name].get_column("outcome").alias(name))
    return claims, findings
