"""Every claim in working order, as decided now and with what people did at the desk.

Belongs here: keeping that order for as long as nothing changed, and choosing rows of it. Does not
belong here: the order (`pipelines.worklist`), how rows are drawn.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import duckdb
import polars as pl

from pipelines.desk.site import DeskSite
from pipelines.desk.views.states import desk_frame, versions_of
from pipelines.events.recorded import recorded_of
from pipelines.queries.decided_since import DecidedSince, decided_since
from pipelines.store.claim_reads import lead_findings
from pipelines.store.correction_states import stale_sentences
from pipelines.store.database import read_frame
from pipelines.store.published_state import PublishedState
from pipelines.store.reading import open_store, published_state
from pipelines.worklist.order import order_claims
from schemas.columns import polars_schema
from schemas.payments import Payments
from schemas.worklist import GROUPS

SETTLED = "settled"
_LOCK = threading.Lock()
_READING = threading.Lock()


@dataclass(frozen=True)
class Worklist:
    """All claims in order: the rows of `order_claims`, and the version of each touched claim.

    is_behind: settings, terms or reference files have changed since the refresh.
    stale: a sentence for each correction that is stale.
    """

    rows: pl.DataFrame
    versions: Mapping[str, int]
    published_as_of: dt.date
    day: dt.date
    key: tuple[object, ...]
    is_behind: bool
    stale: tuple[str, ...]


@dataclass(frozen=True)
class _Published:
    """What the last refresh published of all claims; each event leaves it as it is."""

    key: tuple[object, ...]
    decisions: pl.DataFrame
    leads: pl.DataFrame
    payments: pl.DataFrame


_KEPT: dict[str, Worklist] = {}
_PUBLISHED: dict[str, _Published] = {}


def worklist(site: DeskSite) -> Worklist:
    """The worklist as of the desk's day."""
    with site.desk.reading() as connection:
        last = site.desk.last_event(connection)
    since = decided_since(site.desk, site.day)
    with open_store(site.workspace) as con:
        state = published_state(site.workspace, con)
        key = (state.publication, state.published_at, last, site.day, since.is_behind)
        root = str(site.workspace.root)
        with _LOCK:  # one makes it, and the others wait for that one
            kept = _KEPT.get(root)
            if kept is not None and kept.key == key:
                return kept
            rows = _ordered(site, _published_of(site, con, state), since)
            stale = stale_sentences(con, recorded_of(site.desk), site.settings.timezone)
            versions = versions_of(site.desk)
            made = Worklist(
                rows, versions, state.as_of, site.day, key, since.is_behind, tuple(stale)
            )
            _KEPT[root] = made
            return made


def worklist_row(site: DeskSite, claim: str, since: DecidedSince) -> dict[str, Any] | None:
    """The row of one claim; None for one that is no record."""
    with open_store(site.workspace) as con:
        published = _published_of(site, con, published_state(site.workspace, con))
    rows = _ordered(site, published, since, claim)
    return None if rows.is_empty() else rows.row(0, named=True)


def _published_of(
    site: DeskSite, con: duckdb.DuckDBPyConnection, state: PublishedState
) -> _Published:
    """What the last refresh published, read once for it."""
    key, root = (state.publication, state.published_at), str(site.workspace.root)
    with _READING:
        published = _PUBLISHED.get(root)
        if published is None or published.key != key:
            payments = read_frame(con, "payments", schema=polars_schema(Payments))
            leads = lead_findings(con)
            published = _PUBLISHED[root] = _Published(
                key, read_frame(con, "decisions"), leads, payments
            )
        return published


def _ordered(
    site: DeskSite, published: _Published, since: DecidedSince, claim: str | None = None
) -> pl.DataFrame:
    """All claims in order, or the one."""
    decisions = since.instead(published.decisions)
    mine = pl.lit(True) if claim is None else pl.col("claim") == claim
    return order_claims(
        decisions.filter(mine),
        site.day,
        reasons=_leads(published.leads, since).filter(mine),
        payments=published.payments,
        desk=desk_frame(site.desk),
        originals=decisions,
    )


def _leads(published: pl.DataFrame, since: DecidedSince) -> pl.DataFrame:
    """The finding that leads each claim's decision, of those decided since as they are now."""
    again = since.decisions.select("claim", condition="lead_reason").join(
        since.findings.select("claim", "condition", "reason"), on=["claim", "condition"]
    )
    kept = published.join(since.decisions.select("claim"), on="claim", how="anti")
    return pl.concat([kept, again.select(published.columns)])


def chosen(
    work: Worklist, filters: Mapping[str, str | None], caller: str, *, held: bool = False
) -> pl.DataFrame:
    """The rows that fit: open ones that are not on hold, or the settled ones by group."""
    rows = work.rows
    group = filters.get("group")
    if group == SETTLED:
        rows = rows.filter(~pl.col("open"))
    elif group == "all":
        pass
    else:
        rows = rows.filter("open", pl.lit(held) | ~pl.col("held"))
        if group:
            rows = rows.filter(pl.col("group") == group)
    if verdict := filters.get("verdict"):
        rows = rows.filter(pl.col("standing") == verdict)
    for name in ("agency", "region", "family"):
        if value := filters.get(name):
            rows = rows.filter(pl.col(name) == value)
    if missing := filters.get("missing"):
        rows = rows.filter(pl.col("documents").list.contains(missing))
    if assigned := filters.get("assigned"):
        rows = rows.filter(pl.col("assigned_to") == (caller if assigned == "me" else assigned))
    match filters.get("due"):
        case "overdue":
            rows = rows.filter("overdue")
        case "ahead":
            rows = rows.filter(~pl.col("overdue") & pl.col("documents_due_on").is_not_null())
    return rows


def in_groups(rows: pl.DataFrame) -> list[tuple[str, str, list[dict[str, Any]]]]:
    """Rows by group in their order: key, words, rows."""
    by_group: dict[str, list[dict[str, Any]]] = {}
    for row in rows.iter_rows(named=True):
        by_group.setdefault(row["group"] or SETTLED, []).append(row)
    words = {**GROUPS, SETTLED: "Settled"}
    return [(key, words[key], by_group[key]) for key in words if key in by_group]


def values_of(rows: pl.DataFrame, column: str) -> Sequence[str]:
    """What a column holds, for a filter."""
    listed = rows[column].explode() if column == "documents" else rows[column]
    return sorted(listed.drop_nulls().unique().to_list())
