"""What the page of a claim shows of its records, as decided now.

Belongs here: gathering by the same means as the published pages. Does not belong here: what people
did at the desk (`pages.claim`).

Gathering decides copies of the claim again, to tell what would change it; that takes a part of a
second, so what was gathered is kept for as long as nothing that it rests on has changed.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import html
import re
import threading
from collections import OrderedDict
from collections.abc import Mapping
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
from pipelines.queries.decided_since import DecidedSince, decided_since
from pipelines.queries.deciding_now import decisions_now
from pipelines.queries.laid_over import lay_decisions_over
from pipelines.queries.store_now import StoreNow, store_now
from pipelines.steps.claim_details import data_of_claims
from pipelines.store.claim_reads import decision_row
from pipelines.store.inputs import load_inputs
from pipelines.store.lookups import rows_of
from pipelines.store.published_state import published_manifest
from pipelines.store.reading import open_store, published_state

MOST_KEPT = 500
_AT_ONCE = threading.BoundedSemaphore(2)  # each can use both cores
_OF_RULINGS = ("ruling", "approval", "withdrawal")
_OF_RECORDS = ("record", "correction")
# Marks of `claim.html`; data cannot hold them, since data is escaped.
_MARKS = re.compile("<!-- acts -->|<!-- desk -->")
# What the desk has of its own in their place.
_REPLACED = re.compile("<!-- (rulings|steps) -->.*?<!-- /\\1 -->", re.DOTALL)
# A claim without a published page has one at the desk.
_CLAIM = re.compile("<!-- claim -->(.*?)<!-- /claim -->")
_KEPT: OrderedDict[tuple[object, ...], Mapping[str, Any] | None] = OrderedDict()
_LOCK = threading.Lock()


def claim_content(site: DeskSite, claim: str) -> Mapping[str, Any] | None:
    """What `claim.html` needs of one claim as decided now; None where it has no decision."""
    key = _key(site, claim)
    with _LOCK:
        if key in _KEPT:
            _KEPT.move_to_end(key)
            return _KEPT[key]
    with _AT_ONCE, store_now(load_inputs(site.workspace.root, site.day)) as now:
        # Asked for after the key, so that what is kept is never older than that says.
        made = _made(now, decided_since(site.desk, site.day), claim)
    with _LOCK:
        _KEPT[key] = made
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return made


def _made(now: StoreNow, since: DecidedSince, claim: str) -> Mapping[str, Any] | None:
    mine = pl.col("claim") == claim
    decided = Decided(since.decisions.filter(mine), since.findings.filter(mine))
    untouched = decided.decisions.is_empty() and claim not in since.gone
    if untouched and now.is_of_its_day:  # as published
        if decision_row(now.con, claim).is_empty():
            return None
    else:
        decided = decisions_now(now, [claim]) if untouched else decided
        if decided.decisions.is_empty():  # a correction or a withdrawal took it off the record
            return None
        lay_decisions_over(now, decided)
    data = data_of_claims(now.inputs, now.con, pl.Series([claim], dtype=pl.String))
    profiles = rows_of(now.con, "water_profiles", data.water_values["sample"])
    shown = hide_names(dataclasses.replace(data, water_profiles=profiles))
    try:
        return next(iter(claim_pages.contents(shown, [claim], claim_path)), None)
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None


def published_parts(
    site: DeskSite, claim: str, since: DecidedSince
) -> tuple[Markup, Markup, Markup] | None:
    """The page of a claim as published, before, between and after what the desk adds; None where
    it has none, or where it may be another one now."""
    if claim in since.gone or claim in since.decisions["claim"]:
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
