"""By when the documents that a claim asks for are due.

Belongs here: since when they are asked for, and the day that follows. Does not belong here: which
documents are missing (`verdict`), or what is said once the day is past.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.history import publication_of
from pipelines.terms.frames import DOCUMENTS_WITHIN_DAYS


def with_documents_due(
    claims: pl.DataFrame, history: pl.DataFrame | None, as_of: dt.date
) -> pl.DataFrame:
    """Adds `documents_due_on`: `documents_within_days` after the documents were first asked for.

    They are asked for from the as-of day on which the claim's present run of its verdict began; a
    verdict that is new in this refresh begins on `as_of`, and no run begins later than that. Null
    where no document is missing, and where a ruling stands: then none is asked for.

    Args:
        claims: claim, verdict, missing, ruling, documents_within_days (null without terms).
        history: decision_history before this refresh; null where there is none.
        as_of: the as-of date of this refresh.
    """
    asking = claims.filter(pl.col("missing").is_not_null() & pl.col("ruling").is_null())
    within = pl.col("documents_within_days").fill_null(DOCUMENTS_WITHIN_DAYS)
    asked_since = pl.min_horizontal(pl.col("run_start").fill_null(as_of), pl.lit(as_of))
    due = asking.join(_run_starts(asking, history), on="claim", how="left").select(
        "claim", documents_due_on=add_days(asked_since, within)
    )
    return claims.join(due, on="claim", how="left", maintain_order="left")


def _run_starts(claims: pl.DataFrame, history: pl.DataFrame | None) -> pl.DataFrame:
    """claim, run_start: the as-of day of the first of the last entries that agree on the verdict.

    Only claims whose latest entry has the present verdict.
    """
    if history is None:
        return pl.DataFrame(schema={"claim": pl.String, "run_start": pl.Date})
    other = pl.col("to_verdict").ne_missing(pl.col("verdict"))
    return (
        history.select("claim", "decided_at", "as_of", "to_verdict", publication_of(history))
        .join(claims.select("claim", "verdict"), on="claim")
        .sort("claim", "publication", "decided_at")
        .filter(other.cum_sum(reverse=True).over("claim") == 0)
        .group_by("claim", maintain_order=True)
        .agg(run_start=pl.col("as_of").first())
    )
