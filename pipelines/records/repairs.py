"""Which service calls are repairs, which of those are claims, and on which day the unit failed.

Belongs here: these facts, the same for decisions, histories, figures and pages. Does not belong
here: anything that follows from them, or the rows of the calls (`accounting`). For queries that
must filter in the store, `pipelines.store.repairs` says the same in SQL.

The records keep the failure date as it was stated; past this module `failed_on` is the day used.
"""

from __future__ import annotations

import polars as pl

REPAIR = "repair"


def is_repair() -> pl.Expr:
    """Whether a service call is a repair."""
    return pl.col("kind") == REPAIR


def is_claim() -> pl.Expr:
    """Whether a service call is a claim: a repair with a claim number (decisions.md, opening)."""
    return is_repair() & pl.col("claim").is_not_null()


def repairs_of(calls: pl.DataFrame) -> pl.DataFrame:
    """The repairs among the calls.

    Args:
        calls: records of service calls: kind, claim, opened_on and failed_on among others.

    Returns:
        Their rows with `failed_on`, the day used as the failure date: the stated one, else the day
        on which the call was opened; and `failure_stated`, whether one was stated.
    """
    return calls.filter(is_repair()).with_columns(
        failed_on=pl.coalesce("failed_on", "opened_on"),
        failure_stated=pl.col("failed_on").is_not_null(),
    )


def claims_among(calls: pl.DataFrame) -> pl.DataFrame:
    """The claims among the calls, with the columns that `repairs_of` adds."""
    return repairs_of(calls.filter(is_claim()))


def filing_day() -> pl.Expr:
    """The day a claim is counted on: its filing, else the opening of its call."""
    return pl.coalesce("claimed_on", "opened_on")
