"""The first page: the worklist with its filters, and below it what came in and what was done.

Belongs here: choosing and wording rows. Does not belong here: their order (`pipelines.worklist`).
"""

from __future__ import annotations

import datetime as dt
import functools
import re
import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import polars as pl
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards import formats
from dashboards.desk_words import local
from dashboards.pages.originals import original_said
from dashboards.pages.worklist_rows import group_head
from pipelines.actions.users import all_users
from pipelines.desk.controls import form_of
from pipelines.desk.operations import BY_NAME
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.reading import parameters
from pipelines.desk.readings import READINGS
from pipelines.desk.rendering import page
from pipelines.desk.site import DeskSite
from pipelines.desk.views.worklist import SETTLED, Worklist, chosen, in_groups, values_of, worklist
from pipelines.desk.wording import event_said
from schemas.polars_types import sum_of_money
from schemas.worklist import GROUPS

ROWS = 60
_PARAMETERS = next(one for one in READINGS if one.name == "list_claims").parameters
_SECTIONS = re.compile(
    r'<section class="panel" aria-labelledby="(?:came-in|changed|payments)">.*?</section>',
    re.DOTALL,
)


def routes(site: DeskSite) -> list[Route]:
    """The path of the first page."""

    def shown(request: Request) -> Response:
        return page(request, site, "desk/morning.html", content(request, site))

    return [Route("/", shown, methods=["GET"])]


def content(request: Request, site: DeskSite) -> dict[str, Any]:
    """What the template needs."""
    given = parameters(_PARAMETERS, request.query_params)
    caller = caller_of(site, visitor(request), "web")
    work = worklist(site)
    rows = chosen(work, given, caller.actor)
    offset = given.get("offset", 0)
    names = {user.user: user.name for user in all_users(site.desk)}
    listed = rows.slice(offset, ROWS)
    currency = site.settings.currency
    groups = [
        (key, _head(key, words, rows, currency), [_row(row, work, names) for row in of_group])
        for key, words, of_group in in_groups(listed)
    ]
    return {
        "title": "Morning",
        "page": "index",
        "summary": _summary(work, site.settings.currency),
        "behind": _behind(work),
        "stale": work.stale,
        "filters": _filters(work, given, names),
        "is_filtered": any(name in given for name in _PARAMETERS if name != "offset"),
        "mine": given.get("assigned") == "me",
        "shown": _shown(rows, offset, listed.height, site.settings.currency),
        "groups": groups,
        "more": _more(given, offset, rows.height),
        "may_rule": caller.may("rule"),
        "bulk": form_of(BY_NAME["rule_many"], "/rulings"),
        "once": secrets.token_urlsafe(16),
        "events": _events(site),
        "published": _published(site),
    }


def _head(key: str, words: str, rows: pl.DataFrame, currency: str) -> str:
    """A group's heading: all that fit of it, also those on the pages before and after."""
    of_group = rows.filter(pl.col("group").fill_null(SETTLED) == key)
    return group_head(words, of_group, currency)


def _summary(work: Worklist, currency: str) -> str:
    rows = work.open.filter(~pl.col("held"))
    if rows.is_empty():
        return "No claim is open."
    counts = dict(rows.group_by("group").len().iter_rows())
    parts = [f"{words.lower()}: {counts[key]:,}" for key, words in GROUPS.items() if key in counts]
    stake = formats.money(sum_of_money(rows["at_stake"]), currency)
    held = work.open.filter("held").height
    rest = f" {formats.counted(held, 'claim')} on hold." if held else ""
    number = formats.counted(rows.height, "open claim")
    return f"{number}, {stake} at stake. {'; '.join(parts).capitalize()}.{rest}"


def _behind(work: Worklist) -> list[str]:
    sentences = []
    if work.published_as_of != work.day:
        sentences.append(
            f"The last refresh was as of {work.published_as_of}; days left and ages are those of "
            f"{work.day}."
        )
    if work.is_behind:
        sentences.append(
            "Settings, terms, reference files or mappings have changed since the last refresh. "
            "Claims on which people acted are decided with them as they are now, all others with "
            "the next refresh."
        )
    return sentences


def _shown(rows: pl.DataFrame, offset: int, count: int, currency: str) -> str:
    if not count:
        return "No claim."
    stake = formats.money(sum_of_money(rows["at_stake"]), currency)
    number = formats.counted(rows.height, "claim")
    part = f"{offset + 1:,} to {offset + count:,} of " if count < rows.height else ""
    return f"{part}{number}, {stake} at stake"


def _row(row: Mapping[str, Any], work: Worklist, names: Mapping[str, str]) -> dict[str, Any]:
    due: dt.date | None = row["documents_due_on"]
    who = row["assigned_to"]
    left = row["days_left"]
    return {
        "claim": row["claim"],
        "version": work.versions.get(row["claim"], 0),
        "reason": row["reason"] or row["why"],
        "original": original_said(row["original"]),
        "where": ", ".join(
            filter(None, (row["serial"], row["site_name"] or row["site"], row["agency"]))
        ),
        "standing": row["standing"],
        "word": formats.VERDICTS[row["standing"]],
        "money": formats.money(row["at_stake"]),
        "age": formats.days(row["age_days"]),
        "to_file": "" if left is None else ("today" if left == 0 else formats.days(left)),
        "due": "" if due is None else f"{'overdue: ' if row['overdue'] else ''}{due}",
        "assigned": names.get(who, who) if who else "",
        "held": _hold(row, work.day),
    }


def _hold(row: Mapping[str, Any], day: dt.date) -> str:
    """Until when a claim waits, or that it is back today; a hold of before says nothing more."""
    if row["held"]:
        return f"hold until {row['hold_until']}"
    return "back from hold today" if row["hold_until"] == day else ""


def _filters(
    work: Worklist, given: Mapping[str, Any], names: Mapping[str, str]
) -> list[dict[str, Any]]:
    options: dict[str, tuple[str, Sequence[tuple[str, str]]]] = {
        "group": ("Group", [*GROUPS.items(), (SETTLED, "Settled claims")]),
        "verdict": ("Verdict", list(formats.VERDICTS.items())),
        "missing": ("Missing document", [(v, v) for v in values_of(work.open, "documents")]),
        "due": ("Documents due", [("overdue", "Overdue"), ("ahead", "Still ahead")]),
        "region": ("Region", [(v, v) for v in values_of(work.open, "region")]),
        "agency": ("Agency", [(v, v) for v in values_of(work.open, "agency")]),
        "family": ("Family", [(v, v) for v in values_of(work.open, "family")]),
        "assigned": ("Assigned to", [("me", "Me"), *names.items()]),
    }
    return [
        {"name": name, "label": label, "options": listed, "value": given.get(name)}
        for name, (label, listed) in options.items()
    ]


def _more(given: Mapping[str, Any], offset: int, total: int) -> list[tuple[str, str]]:
    """Links to the rows before and after."""
    kept = {name: value for name, value in given.items() if name != "offset"}
    links = []
    if offset > 0:
        before = urlencode({**kept, "offset": max(0, offset - ROWS)})
        links.append((f"/?{before}", f"The {min(ROWS, offset)} before"))
    if offset + ROWS < total:
        after = urlencode({**kept, "offset": offset + ROWS})
        links.append((f"/?{after}", f"The next {min(ROWS, total - offset - ROWS)}"))
    return links


def _events(site: DeskSite) -> list[dict[str, Any]]:
    with site.desk.reading() as connection:
        latest = site.desk.events(connection, limit=8, newest_first=True)
    zone = site.settings.zone
    return [
        {"claim": e.claim, "when": local(e.at, zone), "who": e.actor, "said": event_said(e)}
        for e in latest
    ]


def _published(site: DeskSite) -> list[Markup]:
    """What came in and what changed, as the last refresh published it."""
    path = site.workspace.published / "index.html"
    try:
        file = path.stat()
        return _sections(path, file.st_ino, file.st_mtime_ns)
    except OSError:
        return []


@functools.lru_cache(maxsize=4)
def _sections(path: Path, *_: int) -> list[Markup]:
    """The sections of a published page, which is millions of characters long, read once."""
    return [Markup(section) for section in _SECTIONS.findall(path.read_text(encoding="utf-8"))]
