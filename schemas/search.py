"""What a search gives: one row a result.

Belongs here: the shape. Does not belong here: what matches (`pipelines.worklist.search`).
"""

from __future__ import annotations

import polars as pl

KINDS = ("claim", "unit", "agency", "site", "set_aside", "superseded")
RESULTS = pl.Schema(
    {
        "kind": pl.String(),
        "claim": pl.String(),
        "call": pl.String(),
        "serial": pl.String(),
        "agency": pl.String(),
        "site": pl.String(),
        "verdict": pl.String(),
        "feed": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "reason": pl.String(),
        "url": pl.String(),
    }
)
# What is searched: a result, the texts in which words are looked for, those of them that are
# numbers (of calls, reports, samples, orders …), and the day by which claims are ordered.
THINGS = pl.Schema(
    {
        **RESULTS,
        "fields": pl.List(pl.String),
        "numbers": pl.List(pl.String),
        "failed_on": pl.Date(),
    }
)
MOST = 200
# What the static pages search: claims and rows that are no records, with all by which they are
# found.
SEARCHED = pl.Schema(
    {
        name: THINGS[name]
        for name in (
            "kind", "claim", "call", "serial", "verdict", "feed", "file", "line", "reason",
            "fields", "failed_on",
        )
    }
)  # fmt: skip
