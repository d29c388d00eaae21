"""Which claims have a page, and where it stands.

Belongs here: the choice, which the pages and the failures behind the figures share. Does not belong
here: what is on a page (`pages`).
"""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from dashboards.formats import file_name
from pipelines.records.repairs import filing_day
from pipelines.store.database import read_frame
from schemas.codes import SETTLED_PAYMENTS

# A settled claim keeps its page for so long after it was filed; older ones are told by `explain`.
RECENT_DAYS = 120
# So many claims, the newest first, keep the pages under 150 MB and written in seconds.
MOST_PAGES = 2_500
OPEN = ("needs_review", "needs_evidence")
# What `claims_with_pages` looks at.
CHOOSING = ("claim", "claimed_on", "opened_on", "standing", "ruling_outdated")


def claims_with_pages(
    decisions: pl.DataFrame, as_of: dt.date, also: pl.Series | None = None
) -> pl.Series:
    """The claims that get a page: open ones, then those filed lately; the newest if too many.

    `also` names claims that someone has to look at although they are decided.
    """
    filed = filing_day()
    recent = filed > as_of - dt.timedelta(days=RECENT_DAYS)
    is_open = pl.col("standing").is_in(OPEN) | pl.col("ruling_outdated")
    if also is not None:
        is_open = is_open | pl.col("claim").is_in(also.implode())
    chosen = decisions.filter(is_open | recent).with_columns(_open=is_open, _filed=filed)
    newest = chosen.sort("_open", "_filed", "claim", descending=[True, True, False])
    return newest.head(MOST_PAGES)["claim"].sort()


def stored_claims_with_pages(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> pl.Series:
    """The same from the store, where payments tell which claims have to be looked at."""
    decisions = read_frame(con, "decisions", columns=CHOOSING)
    payments = read_frame(con, "payments", columns=["claim", "state"])
    to_settle = payments.filter(~pl.col("state").is_in(SETTLED_PAYMENTS))["claim"]
    return claims_with_pages(decisions, as_of, to_settle)


def claim_pages(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> pl.DataFrame:
    """claim, page (a path below the published pages) of every claim that has one."""
    claims = stored_claims_with_pages(con, as_of)
    paths = [f"claims/{file_name(claim)}" for claim in claims]
    return pl.DataFrame({"claim": claims, "page": paths}, schema_overrides={"page": pl.String})
