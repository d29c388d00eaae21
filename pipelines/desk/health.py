"""Whether the desk can work: its database and the store are there and can be read.

Belongs here: the one path that a watchdog asks, without a sign-in. Does not belong here: what is
wrong with a workspace (`limeledger doctor`).
"""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from pipelines.desk.site import DeskSite
from pipelines.store.claim_reads import has_decisions
from pipelines.store.reading import open_store


def routes(site: DeskSite) -> list[Route]:
    """The path of health."""

    def healthz(_: Request) -> Response:
        try:
            with site.desk.reading() as connection:
                site.desk.last_event(connection)
            with open_store(site.workspace) as con:
                has_decisions(con)
        except Exception:  # whatever it is: the desk cannot work
            return JSONResponse({"status": "not ready"}, 503)
        return JSONResponse({"status": "ok"})

    return [Route("/healthz", healthz, methods=["GET"])]
