"""The pages about the whole as the last refresh published them, in the desk's frame.

Belongs here: field, upcoming, data, terms, dictionary, handouts and the tables' files. Does not
belong here: pages on which people act.

A published page is of our own making, so its content is taken out between two marks that no data
can hold, since data is escaped.
"""

from __future__ import annotations

import html
import mimetypes
import re
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem
from pipelines.desk.rendering import page, unit_path
from pipelines.desk.site import DeskSite

NAMES = ("field", "upcoming", "data", "terms", "dictionary", "startups", "failures")
MAIN = re.compile(r'<main id="main" tabindex="-1">\n(.*)</main>', re.DOTALL)
_TITLE = re.compile(r"<title>(.*) – .*</title>")
_SCRIPTS = re.compile(r'<script src="(?:\.\./)?(assets/[a-z.-]+)"></script>')
_HEAD = ("page.js", "status.js")
_FILE = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*")
# Marks of `startups.html`, and what comes in of a unit before any claim.
_UNIT, _ACTS = re.compile("<!-- unit -->(.*?)<!-- /unit -->"), "<!-- acts -->"
_ENTERED = (
    ("startups", "Enter a start-up report"),
    ("water_tests", "Enter a water test"),
    ("treatment_purchases", "Enter a treatment purchase"),
)
# A page that is whole in itself: its own style, no script, nothing fetched.
ALONE = "sandbox; default-src 'none'; style-src 'unsafe-inline'"
_HEADING = re.compile(r"<h1>Claim (.*?)</h1>")


def routes(site: DeskSite) -> list[Route]:
    """The paths of published pages and tables."""

    def shown(request: Request) -> Response:
        name = request.url.path.strip("/").removesuffix(".html")
        text = _text(site, f"{name}.html")
        main, title = MAIN.search(text), _TITLE.search(text)
        if main is None or title is None:
            raise Problem(404, "There is no such page as of the last refresh.")
        scripts = [one for one in _SCRIPTS.findall(text) if not one.endswith(_HEAD)]
        content = {
            "title": html.unescape(title[1]),
            "page": name,
            "main": Markup(_with_buttons(request, site, main[1])),
            "scripts": scripts,
        }
        return page(request, site, "desk/published.html", content)

    def table(request: Request) -> Response:
        name = request.path_params["name"]
        path = site.workspace.published / "data" / name
        if not _FILE.fullmatch(name) or not path.is_file():
            raise Problem(404, "There is no such table as of the last refresh.")
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        return FileResponse(path, media_type=kind, filename=name)

    def handout(request: Request) -> Response:
        name = request.path_params["name"]
        path = site.workspace.published / "handouts" / name
        if not _FILE.fullmatch(name) or not path.is_file():
            raise Problem(404, "There is no such handout as of the last refresh.")
        return FileResponse(
            path, media_type="text/html", headers={"Content-Security-Policy": ALONE}
        )

    def first(_: Request) -> Response:
        return RedirectResponse("/", 303)

    return [
        *(Route(f"/{name}.html", shown, methods=["GET"]) for name in NAMES),
        Route("/index.html", first, methods=["GET"]),
        Route("/data/{name}", table, methods=["GET"]),
        Route("/handouts/{name}", handout, methods=["GET"]),
    ]


def _with_buttons(request: Request, site: DeskSite, main: str) -> str:
    """The page with what can be done about what it lists: each unit's page, and the forms of what
    comes in. Marks are of our own making; what stands between them is escaped."""

    def unit(match: re.Match[str]) -> str:
        address = html.escape(unit_path(html.unescape(match[1])))
        entered = html.escape(f"/records?{urlencode({'serial': html.unescape(match[1])})}")
        link = f' <a class="quiet-link small" href="{entered}">Enter what came in</a>'
        more = link if may_enter else ""
        return f'<a href="{address}">{match[1]}</a>{more}'

    may_enter = caller_of(site, visitor(request), "web").may("record")
    buttons = "".join(
        f'<a class="button" href="/records?feed={feed}">{words}</a>' for feed, words in _ENTERED
    )
    acts = f'<div class="acts no-print">{buttons}</div>' if may_enter else ""
    return _UNIT.sub(unit, main).replace(_ACTS, acts)


def claim_of_file(site: DeskSite, name: str) -> str | None:
    """The claim whose published page has that file name; None where there is none."""
    if not _FILE.fullmatch(name) or not name.endswith(".html"):
        return None
    path = site.workspace.published / "claims" / name
    heading = _HEADING.search(path.read_text(encoding="utf-8")) if path.is_file() else None
    return html.unescape(heading[1]) if heading else None


def _text(site: DeskSite, name: str) -> str:
    try:
        return (site.workspace.published / name).read_text(encoding="utf-8")
    except OSError:
        raise Problem(404, "There is no such page as of the last refresh.") from None
