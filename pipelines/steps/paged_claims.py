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
from pipelines.steps.desk_pages import read_desk
from pipelines.store.database import read_frame
from pipelines.store.inputs import Inputs
from schemas.codes import SETTLED_PAYMENTS

# A settled claim keeps its page for so long after it was filed; older ones are told by `explain`.
RECENT_DAYS = 120
# So many claims, the newest first, keep the pages under 150 MB and written in seconds.
MOST_PAGES = 2_500
OPEN = ("needs_review", "needs_evidence")
# What `claims_with_pages` looks at.
CHOOSING = (
    "claim",
    "claimed_on",
    "opened_on",
    "standing",
    "standing_since",
    "ruling",
    "ruling_outdated",
    "duplicate_of",
)


def claims_with_pages(
    decisions: pl.DataFrame, as_of: dt.date, also: pl.Series | None = None
) -> pl.Series:
    """The claims that get a page: open ones, then those filed or ruled on lately, then the other
    ruled ones; the newest if too many.

    A claim keeps its page once it is ruled, and one that was claimed again has one for as long as
    the second claim is open. `also` names claims that someone has to look at although they are
    decided.
    """
    ruled_on = pl.when(pl.col("ruling").is_not_null()).then("standing_since")
    filed = pl.max_horizontal(filing_day(), ruled_on)
    recent = filed > as_of - dt.timedelta(days=RECENT_DAYS)
    is_open = pl.col("standing").is_in(OPEN) | pl.col("ruling_outdated")
    if also is not None:
        is_open = is_open | pl.col("claim").is_in(also.implode())
    originals = decisions.filter(is_open)["duplicate_of"].drop_nulls()
    is_open = is_open | pl.col("claim").is_in(originals.implode())
    kept = is_open | recent | pl.col("ruling").is_not_null()
    chosen = decisions.filter(kept).with_columns(_open=is_open, _filed=filed)
    newest = chosen.sort("_open", "_filed", "claim", descending=[True, True, False])
    return newest.head(MOST_PAGES)["claim"].sort()


def stored_claims_with_pages(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> pl.Series:
    """The same from the store, where payments and the desk tell which claims have to be looked at:
    those assigned, held, appealed, or with a ruling that waits."""
    decisions = read_frame(con, "decisions", columns=CHOOSING)
    payments = read_frame(con, "payments", columns=["claim", "state"])
    to_settle = payments.filter(~pl.col("state").is_in(SETTLED_PAYMENTS))["claim"]
    at_the_desk = acted_on(read_desk(inputs).rows)
    return claims_with_pages(decisions, inputs.as_of, pl.concat([to_settle, at_the_desk]))


def acted_on(desk: pl.DataFrame) -> pl.Series:
    """The claims of which something holds now that people did, out of rows of DESK."""
    is_set = [pl.col(name).is_not_null() for name in desk.columns if name != "claim"]
    return desk.filter(pl.any_horizontal(is_set))["claim"]


def claim_pages(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """claim, page (a path below the published pages) of every claim that has one."""
    claims = stored_claims_with_pages(inputs, con)
    paths = [f"claims/{file_name(claim)}" for claim in claims]
    return pl.DataFrame({"claim": claims, "page": paths}, schema_overrides={"page": pl.String})
