"""Searching the store for claims, units, agencies, sites, and rows that are no records.

Belongs here: one search, with what people recorded since the last refresh, and numbers near one.
Does not belong here: what is searched (`pipelines.store.searched`), what matches
(`pipelines.worklist.search`).

Folding every text of a fleet takes most of a search, so a program that searches again keeps the
folded texts for as long as the publication is the same.
"""

from __future__ import annotations

import datetime as dt
import threading
from dataclasses import dataclass
from typing import Any

import duckdb

from pipelines.coverage.decisions import Decided
from pipelines.errors import Refused
from pipelines.events.connecting import looked_at
from pipelines.events.database import Desk
from pipelines.events.recorded import recorded_of
from pipelines.queries.decided_since import DecidedSince, decided_since
from pipelines.queries.laid_over import lay_decisions_over
from pipelines.queries.store_now import store_now
from pipelines.store.database import query_frame
from pipelines.store.inputs import load_inputs
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.store.searched import things_near, things_of
from pipelines.worklist.search import Folded, fold, near_numbers, search
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings

MOST_ASKED = 500  # characters of a query, since each of its words is looked for


@dataclass(frozen=True)
class _Kept:
    """What was folded of one publication, and of what was recorded since, up to `since`."""

    key: tuple[object, ...]
    published: Folded
    since: DecidedSince | None
    now: Folded


_KEPT: dict[Workspace, _Kept] = {}
_LOCK = threading.Lock()


def search_desk(desk: Desk, query: str, day: dt.date) -> dict[str, Any]:
    """What matches a query with all that people recorded: `results`, at most 200, and `total`.

    Raises:
        Refused: 422, the query is empty or too long.
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    _refuse_unusable(query)
    with open_store(desk.workspace) as con:
        results, total = search(_things_now(desk, con, day), query)
    return {"query": query, "total": total, "results": results.to_dicts()}


def search_store(workspace: Workspace, query: str) -> dict[str, Any]:
    """The same for a command, which writes nothing, also where nobody has a desk.

    Raises:
        Refused: 422, the query is empty.
        WorkspaceError: nothing was refreshed yet.
    """
    _refuse_unusable(query)
    desk = looked_at(workspace, load_settings(workspace))
    if desk is not None:
        try:
            return search_desk(desk, query, desk.today())
        finally:
            desk.close()
    with open_store(workspace) as con:
        results, total = search(things_of(con), query)
    return {"query": query, "total": total, "results": results.to_dicts()}


def _refuse_unusable(query: str) -> None:
    if len(query) > MOST_ASKED:
        reason = f"has {len(query):,} characters; look for at most {MOST_ASKED} at once."
        raise Refused(422, f"q {reason}", [("q", reason)])
    if not fold(query):
        reason = "is empty; write a claim, a serial, a name, or a part of one."
        raise Refused(422, f"q {reason}", [("q", reason)])


def _things_now(desk: Desk, con: duckdb.DuckDBPyConnection, day: dt.date) -> Folded:
    """All that is searched, folded once for a publication and for what was recorded since."""
    since = decided_since(desk, day)
    state = state_of(con)
    key = (state.publication, state.published_at) if state is not None else ()
    with _LOCK:  # one folds, and the others wait for that one
        kept = _KEPT.get(desk.workspace)
        if kept is None or kept.key != key:
            published = Folded.of(things_of(con))
            kept = _Kept(key, published, None, published)
        if kept.since is not since:
            kept = _Kept(key, kept.published, since, _with(kept.published, desk, since, day))
        _KEPT[desk.workspace] = kept
        return kept.now


def _with(published: Folded, desk: Desk, since: DecidedSince, day: dt.date) -> Folded:
    """What was published, with the claims, units and sites that records since bear on."""
    rows = [feed_rows.records for feed, feed_rows in since.feeds.items() if feed != "rulings"]
    if not rows:
        return published
    decided = set(since.decisions["claim"])
    serials, sites = (
        {value for frame in rows if column in frame.columns for value in frame[column].drop_nulls()}
        for column in ("serial", "site")
    )
    with store_now(load_inputs(desk.workspace.root, day, recorded_of(desk))) as now:
        lay_decisions_over(now, Decided(since.decisions, since.findings))
        things = things_near(now.con, decided, serials, sites)
    keys = {
        "claim": ("claim", decided | since.gone),
        "unit": ("serial", serials),
        "site": ("site", sites),
    }
    return published.instead(keys, things)


def near_claims(workspace: Workspace, typed: str) -> list[str]:
    """The claims on file whose number is near one that is not."""
    with open_store(workspace) as con:
        return near_numbers(typed, query_frame(con, "select claim from decisions")["claim"])
