"""The desk as one application: its layers, its paths, and what becomes of refusals.

Belongs here: putting the parts together. Does not belong here: what any path does.
"""

from __future__ import annotations

import duckdb
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute
from starlette.types import ASGIApp

from pipelines.desk import (
    api,
    assets,
    documents,
    forms,
    health,
    openapi,
    published_pages,
    readings,
    sign_in,
)
from pipelines.desk.guard import API, Guard
from pipelines.desk.pages import audit, letters, months, morning, rows, units, users
from pipelines.desk.pages import claim as claim_page
from pipelines.desk.people import Callers
from pipelines.desk.problems import Problem, problem_of, problem_response
from pipelines.desk.rendering import problem_page
from pipelines.desk.site import DeskSite
from pipelines.errors import LimeledgerError
from pipelines.store.storage_faults import storage_fault


def application(site: DeskSite) -> ASGIApp:
    """The desk of a site, to be served."""

    def refused(request: Request, problem: Problem) -> Response:
        if is_api(request):
            return problem_response(problem)
        return problem_page(request, site, problem)

    def of_error(request: Request, error: Exception) -> Response:
        return refused(request, problem_of(error))

    def of_machine(request: Request, error: Exception) -> Response:
        """What the disk, the rights or the memory are to blame for, another time may do."""
        known = storage_fault(error, site.workspace.root)
        if known is None:
            raise error
        return of_error(request, known)

    app = Starlette(
        routes=routes(site),
        middleware=[Middleware(Callers, site=site, refused=refused)],
        exception_handlers={
            Problem: of_error,
            LimeledgerError: of_error,
            HTTPException: of_error,
            OSError: of_machine,
            MemoryError: of_machine,
            duckdb.Error: of_machine,
            Exception: of_error,
        },
    )
    app.router.redirect_slashes = False
    return Guard(app, site.hosts, is_https=site.is_https)


def routes(site: DeskSite) -> list[BaseRoute]:
    """Every path of the desk."""
    return [
        *health.routes(site),
        *assets.routes(site),
        *sign_in.routes(site),
        *published_pages.routes(site),
        *openapi.routes(),
        *months.routes(site),
        *readings.routes(site),
        *api.routes(site),
        *documents.routes(site),
        *forms.routes(site),
        *morning.routes(site),
        *claim_page.routes(site),
        *units.routes(site),
        *letters.routes(site),
        *rows.routes(site),
        *audit.routes(site),
        *users.routes(site),
    ]


def is_api(request: Request) -> bool:
    """Whether a program asks, which reads JSON."""
    path = request.url.path
    return path == API or path.startswith(f"{API}/")
