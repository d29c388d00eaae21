"""What settles a condition before its own question is asked.

Belongs here: cases that several conditions open with. Does not belong here: a condition.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.coverage.findings import Case
from pipelines.water.limits import need_words

UNREGISTERED = Case(
    pl.col("unit_on_register") != "met", "not_evaluated", "The unit is not on the register."
)
WITHOUT_TERMS = Case(
    pl.col("terms_in_force") != "met",
    "not_evaluated",
    "No edition of the terms applies to the unit.",
)
PAPER = (UNREGISTERED, WITHOUT_TERMS)

BEFORE_CLOCK = Case(
    pl.col("failed_on") < pl.col("clock_start"),
    "not_evaluated",
    pl.format(
        "The warranty starts on {}, after {}.", pl.col("clock_start"), pl.col("failure_words")
    ),
)
WINDOW = (*PAPER, BEFORE_CLOCK)

WITHOUT_CAUSE = Case(
    pl.col("cause_established") != "met", "not_evaluated", "The cause is not established."
)
CAUSE = (*PAPER, WITHOUT_CAUSE)

WATER = (
    *CAUSE,
    Case(
        ~pl.col("water_related"),
        "not_needed",
        pl.format("The cause, {}, is not related to water.", pl.col("cause_words")),
    ),
    Case(
        ~pl.col("needs_treatment"),
        "not_needed",
        pl.format("Model {} needs no water treatment.", pl.col("model")),
    ),
)
TREATMENT = (
    *WATER,
    Case(
        pl.col("water_tested") != "met",
        "not_evaluated",
        "There is no complete water test to go by.",
    ),
    # Grace: its last day included.
    Case(
        pl.col("failed_on") <= pl.col("grace_until"),
        "not_needed",
        pl.format("Treatment could be fitted until {}.", pl.col("grace_until")),
    ),
    Case(
        pl.col("needs").list.len() == 0,
        "not_needed",
        pl.when(pl.col("test_needs").list.len() > 0)
        .then(
            pl.format(
                "Treatment against {}, which the unit needs, does not bear on the cause, {}.",
                need_words(pl.col("test_needs")),
                pl.col("cause_words"),
            )
        )
        .otherwise(
            pl.format("The water of test {} calls for no treatment.", pl.col("test_sample"))
        ),
    ),
)


def unless_met(condition: str, reason: str) -> Case:
    """The case of a condition that needs another one to be met first."""
    return Case(pl.col(condition) != "met", "not_evaluated", reason)


def settled_by_none(cases: Sequence[Case]) -> pl.Expr:
    """Whether none of the cases holds for a claim, so that the condition's own question is asked.

    As in `findings.judged`, a comparison with a missing value does not hold.
    """
    return ~pl.any_horizontal(case.when.fill_null(False) for case in cases)
