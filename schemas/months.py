"""The figures of a month end: one row for each combination of a measure and its dimensions.

Belongs here: the shape. Does not belong here: how a measure is counted (`pipelines.months`).
"""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.columns import CENTS

MEASURES = (
    "decided",
    "ruled",
    "approved",
    "paid",
    "taken_back",
    "accrued",
    "open",
    "reserve",
)
# What stands at the end of a month; the others are what happened in it, and are adjusted later.
BALANCES = ("accrued", "open", "reserve")
DIMENSIONS = ("family", "cause_class", "agency", "region")
LINES = ("parts", "labor", "travel")
UNKNOWN, GONE = "unknown", "gone"
STATES = ("frozen", "now", "adjustment")
# What tells two rows of one month and state apart.
COMBINATION = ("measure", "verdict", *DIMENSIONS, "person", "adjusts")
_ROW: dict[str, Any] = {
    "month": pl.String(),
    "measure": pl.String(),
    "verdict": pl.String(),  # of `decided` alone
    **{name: pl.String() for name in DIMENSIONS},
    "person": pl.String(),  # of `ruled` alone
    "state": pl.String(),
    "adjusts": pl.String(),  # of an adjustment, the month that it mends
    "claims": pl.Int64(),
    **dict.fromkeys((*LINES, "total"), CENTS),
}
ROWS = pl.Schema(_ROW)
# The share of what open claims would pay if covered that is expected to be paid, and how many
# settled claims it rests on.
SHARES = pl.Schema(
    {
        "verdict": pl.String(),
        "cause_class": pl.String(),
        "claims": pl.Int64(),
        "share": pl.Float64(),
    }
)
