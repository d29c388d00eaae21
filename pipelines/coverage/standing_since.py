"""Since which day a claim's standing verdict and amounts hold.

Belongs here: the day, out of the ruling that stands or the history. Does not belong here: what
stands (`standing`), or when documents are due (`documents_due`).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.history import publication_of
from pipelines.coverage.money import LINES
from schemas.columns import CENTS

_PAYABLE = tuple(f"{line}_payable" for line in LINES)


def with_standing_since(
    claims: pl.DataFrame,
    history: pl.DataFrame | None,
    as_of: dt.date,
    approvals: pl.DataFrame,
    withdrawals: pl.DataFrame,
) -> pl.DataFrame:
    """Adds `standing_since`.

    With a ruling it is the day of ruled_at, or of its approval by a second person. Without one it
    is the as-of day of the history's row that brought the present verdict and payable amounts,
    which is the present one where they are new; or the day on which the last ruling was withdrawn,
    where that is later.

    Args:
        claims: claim, verdict, `<line>_payable`, ruling, ruled_at.
        history: decision_history before this refresh; null where there is none. Its rows from
            before it told amounts agree with any.
        as_of: the as-of date of this refresh.
        approvals: claim, ruled_at, approved_on: of the rulings that a second person approved.
        withdrawals: claim, withdrawn_on: the day on which its last ruling was withdrawn.
    """
    ruled = pl.coalesce("approved_on", pl.col("ruled_at").dt.date())
    computed = pl.max_horizontal(pl.col("run_start").fill_null(as_of), "withdrawn_on")
    dated = (
        claims.join(_run_starts(claims, history), on="claim", how="left", maintain_order="left")
        .join(approvals, on=["claim", "ruled_at"], how="left", maintain_order="left")
        .join(withdrawals, on="claim", how="left", maintain_order="left")
    )
    since = pl.when(pl.col("ruling").is_not_null()).then(ruled).otherwise(computed)
    return claims.with_columns(dated.select(standing_since=since).to_series())


def _run_starts(claims: pl.DataFrame, history: pl.DataFrame | None) -> pl.DataFrame:
    """claim, run_start: the as-of day of the first of the last entries that agree on verdict and
    amounts. Only claims whose latest entry does."""
    if history is None or history.is_empty():
        return pl.DataFrame(schema={"claim": pl.String, "run_start": pl.Date})
    differs = pl.col("to_verdict").ne_missing(pl.col("verdict")) | pl.any_horizontal(
        (pl.col(f"{name}_then") != pl.col(name)).fill_null(False) for name in _PAYABLE
    )
    entries = history.select(
        "claim",
        "decided_at",
        "as_of",
        "to_verdict",
        publication_of(history),
        *(
            (pl.col(name) if name in history.columns else pl.lit(None, CENTS)).alias(f"{name}_then")
            for name in _PAYABLE
        ),
    )
    return (
        entries.join(claims.select("claim", "verdict", *_PAYABLE), on="claim")
        .sort("claim", "publication", "decided_at")
        .filter(differs.cum_sum(reverse=True).over("claim") == 0)
        .group_by("claim", maintain_order=True)
        .agg(run_start=pl.col("as_of").first())
    )
