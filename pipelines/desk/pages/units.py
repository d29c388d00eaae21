"""The page of one unit: its life, start-ups with reviews, tests, treatment, calls, claims, letters.

Belongs here: finding the unit and its forms. Does not belong here: what is on file of it
(`pipelines.queries.unit_life`), its words (`dashboards.pages.unit`).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from dashboards.desk_words import local
from dashboards.pages.unit import unit_content
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.rendering import page, unit_path
from pipelines.desk.site import DeskSite
from pipelines.queries.unit_life import unit_life

# What comes in of a unit before any claim, each with the words of its button.
_ENTERED = (
    ("startups", "Enter a start-up report"),
    ("water_tests", "Enter a water test"),
    ("treatment_purchases", "Enter a treatment purchase"),
)


def routes(site: DeskSite) -> list[Route]:
    """The path of every unit."""

    def shown(request: Request) -> Response:
        typed = request.path_params["serial"]
        life = unit_life(site.workspace, typed)
        if life["serial"] != typed:
            return RedirectResponse(unit_path(life["serial"]), 303)
        return page(request, site, "desk/unit.html", _content(request, site, life))

    return [Route("/units/{serial:segment}", shown, methods=["GET"])]


def _content(request: Request, site: DeskSite, life: dict[str, Any]) -> dict[str, Any]:
    caller = caller_of(site, visitor(request), "web")
    serial = life["serial"]
    page_content = unit_content(life, site.settings.currency)
    notes = [
        note | {"when": local(note["at"], site.settings.zone), "claim": note["claim"]}
        for note in life["notes"]
    ]
    actions = [
        (f"/records?{urlencode({'feed': feed, 'serial': serial})}", words)
        for feed, words in _ENTERED
        if caller.may("record")
    ]
    return page_content | {"notes": notes, "actions": actions}
