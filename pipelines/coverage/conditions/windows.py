"""The two windows of cover: where a failure date lies in them.

Belongs here: what the four conditions of the window share. Does not belong here: the conditions.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions import startup_completed, startup_requested_in_time
from pipelines.coverage.conditions.gates import WINDOW
from pipelines.coverage.findings import ALWAYS, Case, switched_off
from pipelines.coverage.startups import earned


def bonus() -> pl.Expr:
    """Whether the start-up bonus is earned; a condition that is switched off counts as met.

    Reads `requested` and `completed`, the outcomes of the two start-up conditions whether or not
    they bear on the claim.
    """
    requested = pl.when(switched_off("startup_requested_in_time")).then(pl.lit("met"))
    completed = pl.when(switched_off("startup_completed")).then(pl.lit("met"))
    return earned(requested.otherwise("requested"), completed.otherwise("completed"))


def window_cases(kind: str) -> list[Case]:
    """The case table of a window: `kind` is parts or labor."""
    base, extended = pl.col(f"{kind}_base_end"), pl.col(f"{kind}_extended_end")
    failed, failure = pl.col("failed_on"), pl.col("failure_words")
    between = pl.format(
        f"{kind.capitalize()} cover ends before {{}}, with the start-up bonus before {{}}; {{}} is "
        "between",
        base,
        extended,
        failure,
    )
    return [
        *WINDOW,
        # 10, 11: half-open; the day on which cover ends is outside.
        Case(
            failed < base,
            "met",
            pl.format(
                f"{kind.capitalize()} cover ends before {{}}; {{}} is earlier.", base, failure
            ),
        ),
        Case(
            failed >= extended,
            "unmet",
            pl.format(
                f"{kind.capitalize()} cover ends before {{}}, with any start-up bonus; {{}} is not "
                "earlier.",
                extended,
                failure,
            ),
        ),
        Case(bonus() == "met", "met", pl.format("{}, and the bonus is earned.", between)),
        Case(bonus() == "unmet", "unmet", pl.format("{}, and the bonus is not earned.", between)),
        Case(
            (pl.col("completed") == "unknown") & ~switched_off("startup_completed"),
            "unknown",
            pl.format("{}, and it is not known whether the bonus is earned.", between),
            startup_completed.DOCUMENT,
        ),
        Case(
            ALWAYS,
            "unknown",
            pl.format("{}, and it is not known whether the bonus is earned.", between),
            startup_requested_in_time.DOCUMENT,
        ),
    ]
