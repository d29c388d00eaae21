"""Claims decided with everything that people recorded so far, by the engine of the refresh.

Belongs here: which claims an action bears on, and deciding those few. Does not belong here: any
rule, or laying what was recorded over the store (`pipelines.queries.store_now`).
"""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.coverage import decide
from pipelines.coverage.decisions import Decided
from pipelines.coverage.evidence import Evidence
from pipelines.queries.rows_now import RowsNow
from pipelines.queries.store_now import StoreNow
from pipelines.records.suggestions import SUGGESTIONS
from pipelines.steps.decide import suggested_serials
from pipelines.store.claim_reads import claims_on_record
from pipelines.store.database import query_frame
from pipelines.store.evidence import evidence_around
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

# The last few answers of `evidence_now`, each with what it rests on.
_EVIDENCE: deque[tuple[Mapping[str, RowsNow], dt.date, frozenset[str], Evidence]] = deque(maxlen=4)


@dataclass(frozen=True)
class Touched:
    """What records name: serials, sites and claims."""

    serials: frozenset[str] = frozenset()
    sites: frozenset[str] = frozenset()
    claims: frozenset[str] = frozenset()

    def __or__(self, other: Touched) -> Touched:
        return Touched(
            self.serials | other.serials, self.sites | other.sites, self.claims | other.claims
        )


def touched_by(feed: str, records: pl.DataFrame) -> Touched:
    """What records of a feed bear on: a unit, its site where they are of a site, a claim.

    A unit bears on those that it took over from and that took over from it.
    """
    names = column_names(FEED_TABLES[feed])

    def values(column: str) -> frozenset[str]:
        return frozenset(records[column].drop_nulls()) if column in names else frozenset()

    sites = values("site") if feed in ("units", "water_tests", "treatment_purchases") else ()
    return Touched(values("serial") | values("replaces"), frozenset(sites), values("claim"))


def claims_touched(now: StoreNow, touched: Touched) -> pl.DataFrame:
    """Claim and serial of every claim on record that is of those units, sites or claims."""
    wanted = {
        "c.serial in (select unnest(?::varchar[]))": touched.serials,
        "c.serial in (select serial from units where site in (select unnest(?::varchar[])))": (
            touched.sites
        ),
        "c.claim in (select unnest(?::varchar[]))": touched.claims,
    }
    # A ruling names a claim alone: units and their sites are not looked at for it.
    tests = {test: sorted(names) for test, names in wanted.items() if names}
    where = f"({' or '.join(tests)})" if tests else "false"
    return claims_on_record(now.con, where, list(tests.values()))


def decide_now(now: StoreNow, claims: pl.DataFrame) -> Decided:
    """Decides some claims (claim, serial) as of the day of the inputs.

    A claim that is not on record, or not seen by the day, is not among the decisions.
    """
    inputs, con = now.inputs, now.con
    evidence = evidence_now(now, claims["serial"])
    history = query_frame(
        con,
        "select * from decision_history where claim in (select unnest(?::varchar[])) "
        "order by decided_at",
        [claims["claim"].to_list()],
    )
    return decide(
        evidence,
        inputs.terms,
        history,
        inputs.settings.timezone,
        only=claims.select("claim"),
        suggestions=_suggestions(now, claims["serial"].unique()),
        ruling_limits=inputs.settings.ruling_limits,
    )


def evidence_now(now: StoreNow, serials: pl.Series) -> Evidence:
    """The records that bear on some units, kept while nothing they rest on has changed.

    An action decides a claim, and then writes its letter by the same records.
    """
    wanted, as_of = frozenset(serials), now.inputs.as_of
    for feeds, day, known, evidence in tuple(_EVIDENCE):
        # `store_now` gives the same feeds for as long as the store and all else are the same.
        if feeds is now.feeds and (day, known) == (as_of, wanted):
            return evidence
    evidence = evidence_around(now.inputs, now.con, serials.unique())
    _EVIDENCE.append((now.feeds, as_of, wanted, evidence))
    return evidence


def _suggestions(now: StoreNow, serials: pl.Series) -> pl.DataFrame:
    """The near misses of serials that are not on the register; it is read only where one is not."""
    known = query_frame(
        now.con,
        "select serial from units where serial in (select unnest(?::varchar[])) "
        "and coalesce(shipped_on <= ?, true)",
        [serials.to_list(), now.inputs.as_of],
    )
    if known.height == serials.drop_nulls().len():
        return pl.DataFrame(schema=SUGGESTIONS)
    return suggested_serials(now.inputs, now.con, serials)


def decisions_now(now: StoreNow, claims: Sequence[str]) -> Decided:
    """Decides claims by their numbers."""
    return decide_now(now, claims_touched(now, Touched(claims=frozenset(claims))))
