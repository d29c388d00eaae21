"""Documents that people bring: kept on the disk before anything names them, served to save only.

Belongs here: the documents of a form, and fetching one. Does not belong here: which kinds are kept
(`pipelines.events.documents`).
"""

from __future__ import annotations

from io import BytesIO

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from pipelines.actions import Caller
from pipelines.desk.bodies import Form
from pipelines.desk.guard import API
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite
from pipelines.events.documents import Document, document_path, keep_document, kind_of

# Whatever a document holds, a browser that shows it anyway lets it do nothing.
POLICY = "sandbox; default-src 'none'"


def keep_all(site: DeskSite, caller: Caller, form: Form) -> list[Document]:
    """Keeps the documents of a form; the action that they come with names them.

    Raises:
        Refused: the role may not, or one is of no kind that is kept, empty or too large.
    """
    caller.require("document")
    return [keep_document(site.desk, BytesIO(sent.content), sent.name) for sent in form.documents]


def routes(site: DeskSite) -> list[Route]:
    """The paths of documents."""

    def fetched(request: Request) -> Response:
        sha256 = request.path_params["sha256"]
        path = document_path(site.desk, sha256)
        if path is None:
            raise Problem(404, "There is no such document at this desk.")
        return FileResponse(
            path,
            media_type=kind_of(path) or "application/octet-stream",
            filename=_name_of(site, sha256),
            headers={"Content-Security-Policy": POLICY},
        )

    place = "/documents/{sha256}"
    return [Route(f"{start}{place}", fetched, methods=["GET"]) for start in ("", API)]


def _name_of(site: DeskSite, sha256: str) -> str:
    """The name that a document was given last; a text beside it, and no path."""
    with site.desk.reading() as connection:
        events = site.desk.events(connection, kinds=["document"], newest_first=True)
    names = (event.payload.get("name") for event in events if event.payload.get("sha256") == sha256)
    return next((str(name) for name in names if name), sha256[:12])
