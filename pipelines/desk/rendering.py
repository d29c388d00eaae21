"""Fills the desk's pages: the same templates and style as the published pages, in the desk's frame.

Belongs here: what the frame of every page shows, and answers as pages. Does not belong here: what
a page is given.
"""

from __future__ import annotations

import functools
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import jinja2
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from dashboards import formats
from dashboards.environment import page_environment
from pipelines.desk.people import Visitor
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite
from pipelines.desk.wording import since_said

PAGES = (
    ("/", "Morning"),
    ("/startups.html", "Start-ups"),
    ("/letters", "Letters"),
    ("/set-aside", "Set aside"),
    ("/field.html", "Field"),
    ("/upcoming.html", "Upcoming"),
    ("/data.html", "Data"),
    ("/terms.html", "Terms"),
)
MORE = (("/corrections", "Corrections"), ("/audit", "Audit"))
ADMINISTRATOR = ("/users", "Users")


@functools.cache
def environment() -> jinja2.Environment:
    """The templates, in the frame of the desk."""
    made = page_environment()
    made.globals.update(alone=False, frame="desk/frame.html", root="/", on_desk=True)
    made.filters.update(
        claim_path=claim_path,
        unit_path=unit_path,
        script_json=lambda v: Markup(formats.script_json(v)),
    )
    return made


def claim_path(claim: str) -> str:
    """The page of a claim; its number is one segment of the path."""
    return f"/claims/{quote(claim, safe='')}"


def unit_path(serial: str) -> str:
    """The page of a unit."""
    return f"/units/{quote(serial, safe='')}"


def shell_of(request: Request, site: DeskSite) -> dict[str, Any]:
    """What the frame shows: the maker, the day, and who is signed in."""
    signed_in: Visitor | None = request.scope.get("visitor")
    more = list(MORE)
    if signed_in is not None and signed_in.user.role == "administrator":
        more.append(ADMINISTRATOR)
    return {
        "maker": site.settings.maker,
        "as_of": site.day.isoformat(),
        "as_of_long": formats.long_day(site.day),
        "day": site.day.isoformat(),
        "timezone": site.settings.timezone,
        "currency": site.settings.currency,
        "pages": (),
        "desk_pages": [*PAGES[:3], (f"/months/{site.day:%Y-%m}", "Month"), *PAGES[3:]],
        "has_search": True,
        "more_pages": more,
        "person": signed_in
        and {
            "user": signed_in.user.user,
            "name": signed_in.user.name,
            "role": signed_in.user.role,
            "how": signed_in.how,
        },
        "csrf_token": (signed_in and signed_in.csrf_token) or "",
    }


def page(
    request: Request,
    site: DeskSite,
    template: str,
    content: dict[str, Any],
    *,
    status: int = 200,
    headers: dict[str, str] | None = None,
) -> Response:
    """One page in the desk's frame."""
    fill = {
        "page": "desk",
        "here": request.url.path,
        "told": None,
        "errors": {},
        "links": (),
    } | content
    text = environment().get_template(template).render(fill, shell=shell_of(request, site))
    return HTMLResponse(text, status, headers)


def problem_page(request: Request, site: DeskSite, problem: Problem) -> Response:
    """What could not be done, as a page of its own."""
    content = {
        "title": TITLES.get(problem.status, problem.title),
        "told": shown_problem(problem, site.settings.zone),
        "link": ("/", "To the morning’s page"),
    }
    headers = dict(problem.headers)
    return page(request, site, "desk/told.html", content, status=problem.status, headers=headers)


TITLES = {
    400: "That could not be read",
    403: "Not allowed",
    404: "Not found",
    405: "Not possible here",
    409: "In the way",
    412: "Changed meanwhile",
    413: "Too large",
    415: "Not of a kind that is kept",
    422: "Please check what you typed",
    428: "The version is missing",
    429: "Too many tries",
    500: "A fault of the desk",
    503: "Not ready",
}


def shown_problem(problem: Problem, zone: ZoneInfo) -> dict[str, Any]:
    """A problem as the pages show it."""
    return {
        "detail": problem.detail,
        "errors": problem.errors,
        "since": since_said(problem.more.get("since") or [], zone),
        "way_out": problem.more.get("way_out"),
    }
