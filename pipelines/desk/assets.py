"""What all pages share: style, scripts and the chart library, under `/assets`.

Belongs here: a closed list of files. Does not belong here: pages, or files that people brought.
"""

from __future__ import annotations

import functools
import hashlib

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards.site import LIBRARY, SPECIFICATIONS, shared_text
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite

SCRIPT, STYLE = "text/javascript; charset=utf-8", "text/css; charset=utf-8"
OURS = {
    "limeledger.css": STYLE,
    "page.js": SCRIPT,
    "charts.js": SCRIPT,
    "sheet.js": SCRIPT,
    "worklist.js": SCRIPT,
    "field.js": SCRIPT,
    "failures.js": SCRIPT,
    "startups.js": SCRIPT,
    "desk.js": SCRIPT,
}
PUBLISHED = (LIBRARY, SPECIFICATIONS, "status.js")
PRIVATE = "status.js"


def routes(site: DeskSite) -> list[Route]:
    """The paths of what pages share."""

    def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name in OURS:
            return _answer(request, *_ours(name), OURS[name])
        if name not in PUBLISHED or (name == PRIVATE and request.scope["visitor"] is None):
            raise Problem(404, "There is no such file.")
        try:
            content = (site.workspace.published / "assets" / name).read_bytes()
        except OSError:
            raise Problem(404, "There is no such file; refresh the workspace.") from None
        return _answer(request, content, _tag(content), SCRIPT)

    return [Route("/assets/{name}", asset, methods=["GET"])]


def _answer(request: Request, content: bytes, tag: str, kind: str) -> Response:
    """The file, or that the browser has it already."""
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(content, headers=headers, media_type=kind)


@functools.cache
def _ours(name: str) -> tuple[bytes, str]:
    content = shared_text(name).encode("utf-8")
    return content, _tag(content)


def _tag(content: bytes) -> str:
    return f'"{hashlib.sha256(content).hexdigest()[:32]}"'
