"""What the page of a claim shows of its records, as decided now.

Belongs here: gathering by the same means as the published pages. Does not belong here: what people
did at the desk (`pages.claim`).

Gathering decides copies of the claim again, to tell what would change it; that takes a part of a
second for one claim and little more for twenty. So those that are asked for meanwhile are gathered
together, and what was gathered is kept for as long as nothing that it rests on has changed.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import html
import re
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import polars as pl
import sqlalchemy as sa
from markupsafe import Markup

from dashboards import formats
from dashboards.hiding import hide_names
from dashboards.letters import TemplateFault
from dashboards.pages import claim as claim_pages
from dashboards.shared_day import filled
from pipelines.coverage.decisions import Decided
from pipelines.desk.published_pages import MAIN
from pipelines.desk.rendering import claim_path
from pipelines.desk.site import DeskSite
from pipelines.errors import WorkspaceError
from pipelines.events.tables import EVENTS
from pipelines.queries.decided_since import DecidedSince, decided_since, rests_on
from pipelines.queries.deciding_now import decisions_now
from pipelines.queries.laid_over import lay_decisions_over
from pipelines.queries.store_now import StoreNow, store_now
from pipelines.steps.claim_details import data_of_claims
from pipelines.store.claim_reads import decision_rows
from pipelines.store.inputs import load_inputs
from pipelines.store.lookups import rows_of
from pipelines.store.published_state import published_manifest
from pipelines.store.reading import open_store, published_state

MOST_KEPT = 500
_OF_RULINGS = ("ruling", "approval", "withdrawal")
_OF_RECORDS = ("record", "correction")
# Marks of `claim.html`; data cannot hold them, since data is escaped.
_MARKS = re.compile("<!-- acts -->|<!-- desk -->")
# What the desk has of its own in their place.
_REPLACED = re.compile("<!-- (rulings|steps) -->.*?<!-- /\\1 -->", re.DOTALL)
# A claim without a published page has one at the desk.
_CLAIM = re.compile("<!-- claim -->(.*?)<!-- /claim -->")
Content = Mapping[str, Any] | None
_KEPT: OrderedDict[tuple[object, ...], Content] = OrderedDict()
_LOCK = threading.Lock()


def claim_content(site: DeskSite, claim: str, since: DecidedSince) -> Mapping[str, Any] | None:
    """What `claim.html` needs of one claim as decided now; None where it has no decision."""
    if not _is_touched(claim, since):
        ahead = site.ahead.content(rests_on(site.desk, site.day), claim)
        if ahead is not None:
            return ahead
    key = _key(site, claim)
    with _LOCK:
        if key in _KEPT:
            _KEPT.move_to_end(key)
            return _KEPT[key]
    # Asked for after the key, so that what is kept is never older than that says.
    made = site.gathering.of(claim, partial(_made, site))
    with _LOCK:
        _KEPT[key] = made
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return made


def _made(site: DeskSite, claims: Sequence[str]) -> Mapping[str, Content]:
    """The content of each of the claims.

    What is hidden is taken out of all texts that are gathered together, so that then each is
    gathered by itself: no page says less for those who asked at the same time.
    """
    inputs = load_inputs(site.workspace.root, site.day)
    if inputs.settings.hide and len(claims) > 1:
        return {claim: _made(site, [claim])[claim] for claim in claims}
    with store_now(inputs) as now:
        shown = _decided(now, decided_since(site.desk, site.day), claims)
        made = contents_of(now, shown)
    return {claim: made.get(claim) for claim in claims}


def contents_of(now: StoreNow, claims: Sequence[str]) -> dict[str, Mapping[str, Any]]:
    """The content of the pages of claims that have a decision, as the store is laid out now.

    Raises:
        WorkspaceError: a template of a letter has a fault.
    """
    shown = pl.Series(claims, dtype=pl.String)
    data = data_of_claims(now.inputs, now.con, shown, alone=True)
    profiles = rows_of(now.con, "water_profiles", data.water_values["sample"])
    data = hide_names(dataclasses.replace(data, water_profiles=profiles))
    try:
        return {one["claim"]: one for one in claim_pages.contents(data, claims, claim_path)}
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None


def _decided(now: StoreNow, since: DecidedSince, claims: Sequence[str]) -> list[str]:
    """Lays what was decided since over the store; returns those of the claims that are on record.

    One of which a correction or a withdrawal took the row is on record no more.
    """
    of_claims = pl.col("claim").is_in(list(claims))
    decided = Decided(since.decisions.filter(of_claims), since.findings.filter(of_claims))
    again = set(decided.decisions["claim"])
    untouched = [claim for claim in claims if claim not in again and claim not in since.gone]
    as_published: set[str] = set()
    if now.is_of_its_day:
        as_published = set(decision_rows(now.con, untouched)["claim"])
    elif untouched:
        more = decisions_now(now, untouched)
        names = decided.decisions.columns, decided.findings.columns
        decided = Decided(
            pl.concat([decided.decisions, more.decisions.select(names[0])]),
            pl.concat([decided.findings, more.findings.select(names[1])]),
        )
    if not decided.decisions.is_empty():
        lay_decisions_over(now, decided)
    return sorted({*decided.decisions["claim"], *as_published})


def published_parts(
    site: DeskSite, claim: str, since: DecidedSince
) -> tuple[Markup, Markup, Markup] | None:
    """The page of a claim as published, before, between and after what the desk adds; None where
    it has none, or where it may be another one now."""
    if _is_touched(claim, since):
        return None
    path = site.workspace.published / "claims" / formats.file_name(claim)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError:
        return None
    main = MAIN.search(text)
    if main is None:
        return None
    text = filled(_REPLACED.sub("", main[1]), _published_day(site))
    parts = _MARKS.split(_CLAIM.sub(_linked, text))
    return (Markup(parts[0]), Markup(parts[1]), Markup(parts[2])) if len(parts) == 3 else None


def _is_touched(claim: str, since: DecidedSince) -> bool:
    """Whether something that people did since the last refresh bears on the claim."""
    return claim in since.gone or claim in since.decisions["claim"]


def _published_day(site: DeskSite) -> dt.date:
    """The as-of day of the published pages."""
    as_of = published_manifest(site.workspace.published).get("as_of")
    return dt.date.fromisoformat(as_of) if as_of else site.day


def _linked(match: re.Match[str]) -> str:
    address = html.escape(claim_path(html.unescape(match[1])))
    return f'<a href="{address}">{match[1]}</a>'


def _key(site: DeskSite, claim: str) -> tuple[object, ...]:
    """What the content rests on: the last refresh, the day, all records, the claim's rulings."""
    columns = EVENTS.c
    of_claim = sa.and_(columns.claim == claim, columns.kind.in_(_OF_RULINGS))
    taken_back = sa.and_(columns.kind == "withdrawal", columns.subject.not_like("ruling%"))
    of_records = sa.or_(columns.kind.in_(_OF_RECORDS), taken_back)
    last = sa.select(sa.func.max(columns.event))
    with site.desk.reading() as connection:
        events = [connection.execute(last.where(one)).scalar() for one in (of_claim, of_records)]
    with open_store(site.workspace) as con:
        state = published_state(site.workspace, con)
    return (str(site.workspace.root), state.publication, state.state, site.day, claim, *events)
