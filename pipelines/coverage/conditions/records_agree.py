"""The dates on record can all be true: nothing fails before it ships, nor is filed before."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged

CLAUSE = Clause(3, records="the dates of the call, the unit and its start-up")
FACTS: tuple[Fact, ...] = ()

# Where no failure date is given, the day of the call is judged by, and said to be that.
_FAILED = (
    pl.when("failure_stated")
    .then(pl.lit("failed on "))
    .otherwise(pl.lit("call opened (no failure date is given) on "))
)


def _clash(earlier: str, later: str, *words: str | pl.Expr) -> pl.Expr:
    """The sentence part for a clash of two dates, each after its words; null without one."""
    first, second = (pl.lit(word) if isinstance(word, str) else word for word in words)
    phrase = pl.format("{}{}, {}{}", first, pl.col(earlier), second, pl.col(later))
    return pl.when(pl.col(earlier) < pl.col(later)).then(phrase)


HELP = ConditionHelp(
    looks_at="the dates of the call, of the unit, and of its start-up",
    outcomes={
        "met": "none of them contradicts another",
        "disputed": (
            "one does, such as a failure before shipment or before the warranty started, or after "
            "the unit was retired"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it"
        ),
    },
    reads=CLOCK_KEYS,
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the dates of call, unit and start-up; every contradiction is told."""
    # 3, in its order. Where no failure date is stated, d is opened_on and cannot be after it.
    clashes = pl.concat_list(
        _clash("failed_on", "shipped_on", _FAILED, "shipped on "),
        _clash("installed_on", "shipped_on", "installed on ", "shipped on "),
        _clash("failed_on", "clock_start", _FAILED, "warranty started on "),
        _clash("retired_on", "failed_on", "retired on ", _FAILED),
        _clash("startup_completed_on", "shipped_on", "start-up completed on ", "shipped on "),
        _clash("opened_on", "failed_on", "call opened on ", "failed on "),
        _clash("claimed_on", "failed_on", "claim filed on ", _FAILED),
        _clash("completed_on", "opened_on", "call completed on ", "opened on "),
    ).list.drop_nulls()
    cases = [
        *PAPER,
        Case(
            pl.col("clashes").list.len() > 0,
            "disputed",
            pl.format("The records contradict each other: {}.", pl.col("clashes").list.join("; ")),
        ),
        Case(
            ALWAYS,
            "met",
            pl.format("The dates agree; the unit is judged by {}.", "failure_words"),
        ),
    ]
    return judged(claims.with_columns(clashes=clashes), cases, ["unit_source", "startup_sources"])
