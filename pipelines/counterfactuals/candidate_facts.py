"""A candidate fact: its columns, its standing, and the claims that call for it.

Belongs here: the shape of the table of facts. Does not belong here: any kind of fact.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipelines.coverage import Evidence

# `send`: nothing on record speaks against it, so it may still come. `correct`: what is on record
# would have to be corrected, or a person would have to find so. `past`: the records say otherwise
# and cannot be helped.
STANDINGS = ("send", "correct", "past")
# One row is one fact that a blocked condition calls for; facts of one `option` go together.
FACTS = pl.Schema(
    {
        "state": pl.String(),
        "condition": pl.String(),
        "option": pl.String(),
        "kind": pl.String(),
        "standing": pl.String(),
        "day": pl.Date(),
        "text": pl.String(),
        "items": pl.List(pl.String),
        "edition": pl.String(),
        "family": pl.String(),
        "seller": pl.String(),
        "months": pl.Int64(),
        "since": pl.Date(),
        "reason": pl.String(),
    }
)
# What one condition calls for: of its blocked rows, wide, one frame of FACTS a kind and option.
CalledFor = Callable[[pl.DataFrame, Evidence], list[pl.DataFrame]]
# Facts that may settle other conditions too, or raise new ones: tried one at a time.
ALONE = (
    "serial",
    "purchased_on",
    "installed_on",
    "failed_on",
    "completed_on",
    "claimed_on",
    "agency",
)
BY_OUTCOME = (
    pl.when(pl.col("outcome") == "unknown")
    .then(pl.lit("send"))
    .when(pl.col("outcome") == "unmet")
    .then(pl.lit("past"))
    .otherwise(pl.lit("correct"))
)


def candidate(
    blocked: pl.DataFrame,
    kind: str,
    when: pl.Expr | bool = True,
    *,
    day: pl.Expr | str | None = None,
    standing: pl.Expr = BY_OUTCOME,
    option: str | None = None,
    text: pl.Expr | str | None = None,
    items: pl.Expr | str | None = None,
    months: str | None = None,
) -> pl.DataFrame:
    """A fact of one kind for every claim whose condition is blocked and calls for it so.

    `blocked` are the rows of one condition.
    """

    def column(value: pl.Expr | str | None, dtype: pl.DataType) -> pl.Expr:
        expr = pl.col(value) if isinstance(value, str) else value
        return pl.lit(None, dtype) if expr is None else expr.cast(dtype)

    return (
        blocked.filter(when)
        .select(
            "state",
            "condition",
            "edition",
            "family",
            "seller",
            "since",
            "reason",
            option=pl.lit(option or kind),
            kind=pl.lit(kind),
            standing=standing,
            day=column(day, FACTS["day"]),
            text=column(text, FACTS["text"]),
            items=column(items, FACTS["items"]),
            months=column(months, FACTS["months"]),
        )
        .select(FACTS.names())
    )
