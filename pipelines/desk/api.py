"""The paths below `/api/v1` by which programs act: JSON in, JSON out.

Belongs here: turning a request into an action and its answer into JSON. Does not belong here: what
is listed and told (`answers`), forms of pages (`forms`).
"""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipelines.desk.bodies import read_form, read_json
from pipelines.desk.json_text import as_json
from pipelines.desk.operation import Operation
from pipelines.desk.operations import OPERATIONS
from pipelines.desk.people import check_token, visitor
from pipelines.desk.performing import fields_of_form, fields_of_json, if_match, perform
from pipelines.desk.places import places_of, route_path
from pipelines.desk.site import DeskSite


def routes(site: DeskSite) -> list[Route]:
    """The path of each action."""
    return [
        Route(route_path(operation.api_path), _endpoint(site, operation), methods=["POST"])
        for operation in OPERATIONS
    ]


def _endpoint(site: DeskSite, operation: Operation) -> Any:
    async def endpoint(request: Request) -> Response:
        places = places_of(request)
        if operation.is_upload:
            form = await read_form(request, site.settings.desk.max_document_mb)
            check_token(request, site, form.get("csrf_token"))
            fields = fields_of_form(operation, form)
        else:
            check_token(request, site, None)
            fields = fields_of_json(operation, await read_json(request))
        answer = await run_in_threadpool(
            perform,
            site,
            visitor(request),
            operation,
            places,
            fields,
            version=if_match(request),
            key=request.headers.get("idempotency-key"),
            path=operation_path(request),
            via="api",
        )
        return created(answer)

    return endpoint


def operation_path(request: Request) -> str:
    """The path of the action that a request asks for, the same for the API and its form."""
    return request.url.path.removeprefix("/api/v1")


def created(answer: dict[str, Any]) -> Response:
    """Something was appended; the claim's new version is its ETag."""
    headers = {"ETag": f'"{answer["version"]}"'} if "version" in answer else {}
    return as_json(answer, 201, headers)
