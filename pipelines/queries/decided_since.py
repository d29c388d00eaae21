"""Every claim that people's work since the last refresh bears on, decided with all of it.

Belongs here: which claims those are, and keeping what was decided while nothing changes. Does not
belong here: deciding (`pipelines.queries.deciding_now`). What no event since bears on is as
published.

What was decided is kept; after another event only the claims that it bears on are decided again.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections import OrderedDict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import polars as pl

from pipelines.events.database import Desk
from pipelines.events.recorded import recorded_of
from pipelines.queries.deciding_now import Touched, claims_touched, decide_now, touched_by
from pipelines.queries.rows_now import RowsNow
from pipelines.queries.store_now import STORE, StoreNow, store_now
from pipelines.store.database import identifier, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.inputs import digests_of, load_inputs
from pipelines.store.reading import open_store, published_state
from pipelines.workspace.settings import load_settings
from schemas.columns import column_names, polars_schema
from schemas.decisions import Decisions, Findings
from schemas.feeds import FEED_TABLES

_MOST_KEPT = 8
_LOCK = threading.Lock()


@dataclass(frozen=True)
class DecidedSince:
    """What is other than published.

    decisions, findings: by their tables' columns, of every claim decided again.
    gone: claims that are published and have no decision any more: off the record, or not yet seen.
    is_behind: settings, terms, reference files or mappings have changed since the refresh.
    feeds: the rows on which this rests.
    """

    decisions: pl.DataFrame
    findings: pl.DataFrame
    gone: frozenset[str]
    is_behind: bool
    feeds: Mapping[str, RowsNow] = field(default_factory=dict)

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


# By what it rests on: up to which event that decides anything, and what was decided.
_KEPT: OrderedDict[tuple[object, ...], tuple[int, DecidedSince]] = OrderedDict()


def decided_since(desk: Desk, day: dt.date, only: Collection[str] | None = None) -> DecidedSince:
    """What people's work since the last refresh makes of the claims that it bears on.

    Args:
        only: the claims that are asked for, where others need not be decided; None for all.

    Raises:
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    if (since := kept_since(desk, day)) is not None:
        return since
    recorded = recorded_of(desk)
    key = rests_on(desk, day)
    with _LOCK:  # one decides, and the others wait for that one
        kept = _KEPT.get(key)
        if kept is not None and kept[0] >= recorded.decisive:
            return kept[1]
        with store_now(load_inputs(desk.workspace.root, day, recorded)) as now:
            since, _ = _decided(now, _touched(now), only)
        if only is None:
            _keep(key, recorded.decisive, since)
        return since


def kept_since(desk: Desk, day: dt.date) -> DecidedSince | None:
    """The same out of what was decided before in this program; None where nothing was.

    Raises:
        WorkspaceError: as `decided_since`.
    """
    key = rests_on(desk, day)
    if key not in _KEPT:
        return None
    recorded = recorded_of(desk)
    with _LOCK:
        kept = _KEPT.get(key)
        if kept is None or kept[0] >= recorded.decisive:
            return None if kept is None else kept[1]
        with store_now(load_inputs(desk.workspace.root, day, recorded)) as now:
            since = _again(now, kept[1])
        _keep(key, recorded.decisive, since)
        return since


def rests_on(desk: Desk, day: dt.date) -> tuple[object, ...]:
    """What a decision rests on beside the events: the publication, the day, the files laid in."""
    workspace = desk.workspace
    with open_store(workspace) as con:
        state = published_state(workspace, con)
    with desk.reading() as connection:
        began = desk.event(connection, 1)  # another database under the same name begins otherwise
    laid_in = digests_of(workspace, load_settings(workspace))
    parts = (state.publication, state.published_at, state.state, day, *laid_in.values())
    return (str(workspace.root), began.digest if began else None, *parts)


def _keep(key: tuple[object, ...], decisive: int, since: DecidedSince) -> None:
    _KEPT[key] = decisive, since
    _KEPT.move_to_end(key)
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)


def touched_since(now: StoreNow) -> frozenset[str]:
    """The claims that people's work since the last refresh bears on, decided otherwise or not."""
    touched = _touched(now)
    return touched.claims.union(claims_touched(now, touched)["claim"])


def _touched(now: StoreNow) -> Touched:
    """What rows bear on that were settled again, as published or as they are now."""
    touched = Touched()
    for feed, rows in now.feeds.items():
        for table in (identifier(f"{STORE}.main.{feed}"), identifier(feed)):
            touched |= touched_by(feed, _of_keys(now, feed, rows.keys, table))
    return touched


def _decided(
    now: StoreNow, touched: Touched, only: Collection[str] | None = None
) -> tuple[DecidedSince, frozenset[str]]:
    """What is touched, decided as of the day of the inputs; and all claims that were looked at."""
    claims = claims_touched(now, touched) if now.feeds or touched != Touched() else None
    looked_at = {*touched.claims, *(claims["claim"] if claims is not None else ())}
    if claims is not None and only is not None:
        looked_at &= set(only)
        claims = claims.filter(pl.col("claim").is_in(list(only)))
    if claims is None or claims.is_empty():
        decisions, findings = (
            polars_schema(Decisions).to_frame(),
            polars_schema(Findings).to_frame(),
        )
    else:
        decided = decide_now(now, claims)
        decisions = decided.decisions.select(column_names(Decisions))
        findings = decided.findings.select(column_names(Findings))
    gone = _published(now, looked_at) - frozenset(decisions["claim"])
    since = DecidedSince(decisions, findings, gone, now.is_behind, now.feeds)
    return since, frozenset(looked_at)


def _again(now: StoreNow, before: DecidedSince) -> DecidedSince:
    """What was decided before, with what rows bear on that have come, gone or changed since."""
    touched = Touched()
    for feed in {*now.feeds, *before.feeds}:
        touched |= touched_by(feed, _changed(now, before, feed))
    again, looked_at = _decided(now, touched)
    stays = ~pl.col("claim").is_in(sorted(looked_at))
    return DecidedSince(
        pl.concat([before.decisions.filter(stays), again.decisions]),
        pl.concat([before.findings.filter(stays), again.findings]),
        (before.gone - looked_at) | again.gone,
        now.is_behind,
        now.feeds,
    )


def _changed(now: StoreNow, before: DecidedSince, feed: str) -> pl.DataFrame:
    """The records of a feed that are there now and were not before, or were and are not."""
    sides = [rows for feeds in (before.feeds, now.feeds) if (rows := feeds.get(feed)) is not None]
    keys = pl.concat([rows.keys for rows in sides]).unique()
    stored = _of_keys(now, feed, keys, identifier(f"{STORE}.main.{feed}"))
    names = column_names(FEED_TABLES[feed])
    old, new = (
        stored
        if (rows := feeds.get(feed)) is None
        else pl.concat(
            [
                stored.join(rows.keys, on=rows.keys.columns, how="anti", nulls_equal=True),
                rows.records.select(names).cast(stored.schema),
            ]
        )
        for feeds in (before.feeds, now.feeds)
    )
    return pl.concat(
        [
            one.join(other, on=names, how="anti", nulls_equal=True)
            for one, other in ((old, new), (new, old))
        ]
    )


def _of_keys(now: StoreNow, feed: str, keys: pl.DataFrame, table: str) -> pl.DataFrame:
    """The records of some keys in a table or view of a feed."""
    columns = ", ".join(identifier(name) for name in column_names(FEED_TABLES[feed]))
    joined = ", ".join(identifier(name) for name in keys.columns)
    with registered(now.con, keys) as keys_view:
        return query_frame(
            now.con, f"select {columns} from {table} semi join {keys_view} using ({joined})"
        )


def _published(now: StoreNow, claims: Collection[str]) -> frozenset[str]:
    """Those of the claims that the last refresh has decided."""
    decided = query_frame(
        now.con,
        "select claim from decisions where claim in (select unnest(?::varchar[]))",
        [sorted(claims)],
    )
    return frozenset(decided["claim"])
