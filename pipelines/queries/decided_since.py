"""Every claim that people's work since the last refresh bears on, decided with all of it.

Belongs here: which claims those are, and keeping what was decided while nothing changes. Does not
belong here: deciding (`pipelines.queries.deciding_now`). What no event since bears on is as
published.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections import OrderedDict
from dataclasses import dataclass

import polars as pl

from pipelines.events.database import Desk
from pipelines.events.recorded import recorded_of
from pipelines.queries.deciding_now import Touched, claims_touched, decide_now, touched_by
from pipelines.queries.store_now import STORE, StoreNow, store_now
from pipelines.store.database import identifier, query_frame, registered
from pipelines.store.inputs import load_inputs
from pipelines.store.reading import open_store, published_state
from schemas.columns import column_names, polars_schema
from schemas.decisions import Decisions, Findings
from schemas.feeds import FEED_TABLES

_MOST_KEPT = 8
_LOCK = threading.Lock()


@dataclass(frozen=True)
class DecidedSince:
    """What is other than published.

    decisions, findings: by their tables' columns, of every claim decided again.
    gone: claims that are published and no more on record.
    is_behind: settings, terms, reference files or mappings have changed since the refresh.
    """

    decisions: pl.DataFrame
    findings: pl.DataFrame
    gone: frozenset[str]
    is_behind: bool

    def instead(self, published: pl.DataFrame) -> pl.DataFrame:
        """Published decisions with those that were decided again in their place."""
        names = published.columns
        kept = published.join(self.decisions.select("claim"), on="claim", how="anti").filter(
            ~pl.col("claim").is_in(list(self.gone))
        )
        return pl.concat([kept, self.decisions.select(names).cast(published.schema)])

    def of(self, claim: str, published: pl.DataFrame) -> pl.DataFrame:
        """The decision of one claim: the published one where it was not decided again."""
        return self.instead(published).filter(pl.col("claim") == claim)

    def findings_of(self, claim: str, published: pl.DataFrame) -> pl.DataFrame:
        """The findings of a claim: the published ones where it was not decided again."""
        again = self.findings.filter(pl.col("claim") == claim)
        return published if again.is_empty() else again


_KEPT: OrderedDict[tuple[object, ...], DecidedSince] = OrderedDict()


def decided_since(desk: Desk, day: dt.date) -> DecidedSince:
    """What people's work since the last refresh makes of the claims that it bears on.

    Raises:
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    recorded = recorded_of(desk)
    with open_store(desk.workspace) as con:
        state = published_state(desk.workspace, con)
    key = (str(desk.workspace.root), state.publication, state.state, recorded.content, day)
    with _LOCK:  # one decides, and the others wait for that one
        if key not in _KEPT:
            inputs = load_inputs(desk.workspace.root, day, recorded)
            with store_now(inputs) as now:
                _KEPT[key] = _decided(now)
            while len(_KEPT) > _MOST_KEPT:
                _KEPT.popitem(last=False)
        _KEPT.move_to_end(key)
        return _KEPT[key]


def _decided(now: StoreNow) -> DecidedSince:
    touched = Touched()
    for feed in now.feeds:
        for table in (identifier(f"{STORE}.main.{feed}"), identifier(feed)):
            touched |= touched_by(feed, _of_keys(now, feed, table))
    claims = claims_touched(now, touched) if now.feeds else None
    if claims is None or claims.is_empty():
        return DecidedSince(
            polars_schema(Decisions).to_frame(),
            polars_schema(Findings).to_frame(),
            _gone(now, touched, []),
            now.is_behind,
        )
    decided = decide_now(now, claims)
    return DecidedSince(
        decided.decisions.select(column_names(Decisions)),
        decided.findings.select(column_names(Findings)),
        _gone(now, touched, decided.decisions["claim"].to_list()),
        now.is_behind,
    )


def _of_keys(now: StoreNow, feed: str, table: str) -> pl.DataFrame:
    """The records of the keys that were settled again, as published or as they are now."""
    columns = ", ".join(identifier(name) for name in column_names(FEED_TABLES[feed]))
    keys = now.feeds[feed].keys
    joined = ", ".join(identifier(name) for name in keys.columns)
    with registered(now.con, keys) as asked:
        return query_frame(
            now.con, f"select {columns} from {table} semi join {asked} using ({joined})"
        )


def _gone(now: StoreNow, touched: Touched, decided: list[str]) -> frozenset[str]:
    """The claims that are published, were touched, and are not on record any more."""
    named = query_frame(
        now.con,
        "select claim from decisions where claim in (select unnest(?::varchar[])) and claim not in "
        "(select claim from service_calls where claim is not null)",
        [sorted(touched.claims)],
    )
    return frozenset(named["claim"]) - frozenset(decided)
