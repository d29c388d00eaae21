"""The dates on record can all be true: nothing fails before it ships, nor is filed before."""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import PAPER
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.terms import Terms


def _clash(earlier: str, later: str, words: str) -> pl.Expr:
    """The sentence part for a clash of two dates; null without one."""
    clash = pl.col(earlier) < pl.col(later)
    return pl.when(clash).then(pl.format(words, pl.col(earlier), pl.col(later)))


def judge(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Findings from the dates of call, unit and start-up; every contradiction is told."""
    clashes = pl.concat_list(
        _clash("failed_on", "shipped_on", "failed on {}, shipped on {}"),
        _clash("installed_on", "shipped_on", "installed on {}, shipped on {}"),
        _clash("failed_on", "clock_start", "failed on {}, warranty started on {}"),
        _clash("retired_on", "failed_on", "retired on {}, failed on {}"),
        _clash("startup_completed_on", "shipped_on", "start-up completed on {}, shipped on {}"),
        _clash("opened_on", "stated_failed_on", "call opened on {}, failed on {}"),
        _clash("claimed_on", "failed_on", "claim filed on {}, failed on {}"),
        _clash("completed_on", "opened_on", "call completed on {}, opened on {}"),
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
