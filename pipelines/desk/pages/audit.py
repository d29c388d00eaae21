"""The audit: every event, the newest first.

Belongs here: choosing and wording events. Does not belong here: appending any.
"""

from __future__ import annotations

from typing import Any, get_args
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards.desk_words import local
from pipelines.actions.users import all_users
from pipelines.desk.rendering import page
from pipelines.desk.site import DeskSite
from pipelines.desk.wording import event_said
from pipelines.events.event import Kind

ROWS = 100
KINDS: tuple[str, ...] = get_args(Kind)


def routes(site: DeskSite) -> list[Route]:
    """The path of the audit."""

    def shown(request: Request) -> Response:
        return page(request, site, "desk/audit.html", _content(request, site))

    return [Route("/audit", shown, methods=["GET"])]


def _content(request: Request, site: DeskSite) -> dict[str, Any]:
    sent = request.query_params
    given = {name: sent.get(name, "").strip() for name in ("claim", "actor", "kind")}
    before = sent.get("before", "")[:18]
    with site.desk.reading() as connection:
        events = site.desk.events(
            connection,
            claim=given["claim"] or None,
            actor=given["actor"] or None,
            kinds=[given["kind"]] if given["kind"] in KINDS else None,
            before=int(before) if before.isascii() and before.isdigit() else None,
            limit=ROWS + 1,
            newest_first=True,
        )
    zone = site.settings.zone
    older = None
    if len(events) > ROWS:
        kept = {name: value for name, value in given.items() if value}
        older = f"/audit?{urlencode({**kept, 'before': events[ROWS - 1].event})}"
    return {
        "title": "Audit",
        "given": given,
        "kinds": KINDS,
        "actors": [(user.user, user.name) for user in all_users(site.desk)],
        "older": older,
        "events": [
            {
                "n": event.event,
                "when": local(event.at, zone),
                "who": event.actor,
                "os_user": event.os_user,
                "via": event.via,
                "claim": event.claim,
                "said": event_said(event),
            }
            for event in events[:ROWS]
        ],
    }
