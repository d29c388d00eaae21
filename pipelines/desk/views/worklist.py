"""Every claim in working order, as decided now and with what people did at the desk.

Belongs here: keeping that order for as long as nothing changed, and choosing rows of it. Does not
belong here: the order (`pipelines.worklist`), how rows are drawn.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
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
from pipelines.worklist.order import in_order, order_claims
from schemas.columns import polars_schema
from schemas.payments import Payments
from schemas.worklist import GROUPS

SETTLED = "settled"
_LOCK = threading.Lock()
_READING = threading.Lock()
_ORDERING = threading.Lock()


@dataclass(frozen=True)
class Worklist:
    """All claims as rows of `order_claims`, and the version of each touched claim.

    open: open claims in working order.
    others: settled ones in whatever order; few ask for them (`settled`).
    is_behind: settings, terms or reference files have changed since the refresh.
    stale: a sentence for each correction that is stale.
    """

    open: pl.DataFrame
    others: pl.DataFrame
    versions: Mapping[str, int]
    published_as_of: dt.date
    day: dt.date
    key: tuple[object, ...]
    is_behind: bool
    stale: tuple[str, ...]

    @cached_property
    def settled(self) -> pl.DataFrame:
        """Settled claims in their order."""
        return in_order(self.others, self.day)

    @property
    def all(self) -> pl.DataFrame:
        """All claims in their order."""
        return pl.concat([self.open, self.settled])


@dataclass(frozen=True)
class _Published:
    """What the last refresh published of all claims; each event leaves it as it is."""

    key: tuple[object, ...]
    decisions: pl.DataFrame
    leads: pl.DataFrame
    payments: pl.DataFrame

    def order(
        self,
        day: dt.date,
        since: DecidedSince | None = None,
        desk: pl.DataFrame | None = None,
        which: pl.Expr | None = None,
    ) -> pl.DataFrame:
        """`order_claims` of all claims, or of those that `which` tells by `decisions`, with what
        was decided since and what people did."""
        decisions, originals, leads = self.decisions, self.decisions, self.leads
        if since is not None:
            decisions = since.instead(decisions if which is None else decisions.filter(which))
            first = pl.col("claim").is_in(decisions["duplicate_of"].drop_nulls().implode())
            originals = since.instead(originals.filter(first))
            leads = _leads(leads.join(decisions.select("claim"), on="claim", how="semi"), since)
        return order_claims(
            decisions if which is None else decisions.filter(which),
            day,
            reasons=leads,
            payments=self.payments,
            desk=desk,
            originals=originals,
        )


# Of each workspace the rows of all claims as published, without anything that people did.
_BEFORE: dict[str, tuple[tuple[object, ...], pl.DataFrame]] = {}
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
            rows = _rows(site, _published_of(site, con, state), since)
            stale = stale_sentences(con, recorded_of(site.desk), site.settings.timezone)
            versions = versions_of(site.desk)
            open_rows, others = _parted(rows, site.day)
            days, behind = (state.as_of, site.day), since.is_behind
            made = Worklist(open_rows, others, versions, *days, key, behind, tuple(stale))
            _KEPT[root] = made
            return made


def worklist_row(site: DeskSite, claim: str, since: DecidedSince) -> dict[str, Any] | None:
    """The row of one claim; None for one that is no record."""
    with open_store(site.workspace) as con:
        published = _published_of(site, con, published_state(site.workspace, con))
    mine, desk = pl.col("claim") == claim, desk_frame(site.desk)
    # A row on which nothing bears is as it was; putting one together costs half of a page.
    rows = _before(site, published).filter(mine)
    bears_on_it = _moved(desk, since).intersection([*rows["claim"], *rows["duplicate_of"]])
    if rows.is_empty() or bears_on_it:
        rows = published.order(site.day, since, desk, mine)
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


def _rows(site: DeskSite, published: _Published, since: DecidedSince) -> pl.DataFrame:
    """All claims: those that something since bears on made anew, all others as they were."""
    before, desk = _before(site, published), desk_frame(site.desk)
    moved = _moved(desk, since)
    # A duplicate tells of the claim that came first.
    again = published.order(site.day, since, desk, _any_of(moved))
    stays = ~(pl.col("claim").is_in(list(moved)) | pl.col("claim").is_in(again["claim"].implode()))
    return pl.concat([before.filter(stays), again.select(before.columns)])


def _parted(rows: pl.DataFrame, day: dt.date) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Open claims in order, and the settled ones, which are many and seldom asked for."""
    return in_order(rows.filter("open"), day), rows.filter(~pl.col("open"))


def _before(site: DeskSite, published: _Published) -> pl.DataFrame:
    """The rows of all claims as of the day, without anything that people did."""
    key, root = (*published.key, site.day), str(site.workspace.root)
    with _ORDERING:
        if (kept := _BEFORE.get(root)) is None or kept[0] != key:
            kept = _BEFORE[root] = key, published.order(site.day)
        return kept[1]


def _moved(desk: pl.DataFrame, since: DecidedSince) -> frozenset[str]:
    """The claims on which people acted, or that were decided since."""
    return since.gone.union(desk["claim"], since.decisions["claim"])


def _any_of(claims: Collection[str]) -> pl.Expr:
    """Whether a decision is of one of the claims, or comes after one of them."""
    return pl.any_horizontal(pl.col("claim", "duplicate_of").is_in(list(claims)))


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
    group = filters.get("group")
    if group == SETTLED:
        rows = work.settled
    elif group == "all":
        rows = work.all
    else:
        rows = work.open.filter(pl.lit(held) | ~pl.col("held"))
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
