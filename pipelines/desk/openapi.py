"""The description of the API: OpenAPI 3.1, made from the lists of actions and readings.

Belongs here: the document and its path. Does not belong here: what is in the lists (`operations`,
`readings`), the shape of answers (`described`).
"""

from __future__ import annotations

import functools
import re
from http import HTTPStatus
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipelines.desk import described
from pipelines.desk.answers import ANSWERS
from pipelines.desk.files import FILES
from pipelines.desk.guard import API
from pipelines.desk.json_text import as_json
from pipelines.desk.operation import Operation
from pipelines.desk.operations import OPERATIONS
from pipelines.desk.problems import TYPE
from pipelines.desk.reading import Reading
from pipelines.desk.readings import READINGS
from schemas import json_schema as js

PATH = f"{API}/openapi.json"
VERSION = "1"
_PLACEHOLDER = re.compile(r"\{(\w+)\}")
_PLACES: dict[str, js.Schema] = {
    "claim": js.text("The claim, one percent-encoded segment, its slashes too."),
    "event": js.integer("The number of the event.", least=1),
    "entry": js.integer("The number of the letter.", least=1),
    "sha256": js.text("The SHA-256 of the document's bytes.", js.SHA256),
    "month": js.text("The month.", r"^[0-9]{4}-(0[1-9]|1[0-2])$"),
}
_IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "description": 'The claim\'s version that the caller saw, such as `"17"`.',
    "schema": {"type": "string", "pattern": '^"(0|[1-9][0-9]*)"$'},
}
_ONCE = {
    "name": "Idempotency-Key",
    "in": "header",
    "description": "The same key from the same user to the same path within 24 hours gets the "
    "first answer again, and records nothing.",
    "schema": {"type": "string", "minLength": 1, "maxLength": 255},
}
# What every action, and every reading, may be refused with.
_OF_ACTIONS = (400, 401, 403, 413, 415, 421, 422, 503)
_OF_READINGS = (401, 403, 421, 422, 503)


def routes() -> list[Route]:
    """The path of the description."""

    def described_here(_: Request) -> Response:
        return as_json(document())

    return [Route(PATH, described_here, methods=["GET"])]


@functools.cache
def document() -> dict[str, Any]:
    """The whole description."""
    paths: dict[str, dict[str, Any]] = {}
    for reading in READINGS:
        paths.setdefault(reading.path, {})["get"] = _reading(reading)
    for name, summary, path, kinds in FILES:
        paths.setdefault(path, {})["get"] = _file(name, summary, path, kinds)
    for operation in OPERATIONS:
        paths.setdefault(operation.path, {})["post"] = _action(operation)
    paths["/openapi.json"] = {"get": _own()}
    paths["/healthz"] = _health()
    return {
        "openapi": "3.1.1",
        "info": {
            "title": "The warranty desk",
            "version": VERSION,
            "description": "Claims, what people do with them, letters and months. Dates are ISO "
            "8601, money is text with two decimals, faults are problems of RFC 9457.",
        },
        "servers": [{"url": API}],
        "security": [{"token": []}, {"session": []}],
        "paths": paths,
        "components": {
            "schemas": {"Problem": described.problem()},
            "securitySchemes": {
                "token": {"type": "http", "scheme": "bearer"},
                "session": {"type": "apiKey", "in": "cookie", "name": "limeledger_session"},
            },
        },
    }


def _reading(reading: Reading) -> dict[str, Any]:
    parameters = [
        *_places(reading.path),
        *(
            {"name": name, "in": "query", "schema": schema, "description": schema["description"]}
            for name, schema in reading.parameters.items()
        ),
    ]
    return {
        "operationId": reading.name,
        "summary": reading.summary,
        "parameters": parameters,
        "responses": {
            "200": _json("What was asked for.", reading.answer),
            **_refusals({*_OF_READINGS, *reading.refusals}),
        },
    }


def _action(operation: Operation) -> dict[str, Any]:
    headers: list[dict[str, Any]] = [_ONCE]
    refusals = {*_OF_ACTIONS, *operation.refusals}
    if operation.versioned:
        headers.append(_IF_MATCH)
        refusals |= {412, 428}
    operation_object: dict[str, Any] = {
        "operationId": operation.name,
        "summary": operation.summary,
        "parameters": [*_places(operation.path), *headers],
        "responses": {
            "201": _json("It was done.", ANSWERS[operation.name]),
            **_refusals(refusals),
        },
    }
    if operation.given:
        operation_object["requestBody"] = {"required": True, "content": _content(operation)}
    return operation_object


def _content(operation: Operation) -> dict[str, Any]:
    if operation.is_upload:
        form = {
            "type": "object",
            "properties": {name: given.schema for name, given in operation.given.items()},
            "required": [name for name, given in operation.given.items() if given.required],
        }
        return {"multipart/form-data": {"schema": form}}
    body = {
        "type": "object",
        "properties": {name: given.described for name, given in operation.given.items()},
        "required": [name for name, given in operation.given.items() if given.required],
        "additionalProperties": False,
    }
    return {"application/json": {"schema": body}}


def _file(name: str, summary: str, path: str, kinds: tuple[str, ...]) -> dict[str, Any]:
    content: dict[str, Any] = {kind: {} for kind in kinds}
    return {
        "operationId": name,
        "summary": summary,
        "parameters": _places(path),
        "responses": {
            "200": {"description": "The file.", "content": content},
            **_refusals({401, 403, 404, 421, 422, 503}),
        },
    }


def _own() -> dict[str, Any]:
    return {
        "operationId": "describe",
        "summary": "This description.",
        "responses": {
            "200": _json("OpenAPI 3.1.", {"type": "object"}),
            **_refusals({401, 403, 421, 422}),
        },
    }


def _health() -> dict[str, Any]:
    """It stands beside the API and is asked without a sign-in."""
    answers = {
        status: _json(said, js.record({"status": js.word("Whether it can work.", [word])}))
        for status, said, word in (
            ("200", "Database and store can be read.", "ok"),
            ("503", "One of them cannot.", "not ready"),
        )
    }
    summary = "Whether the desk can work."
    operation = {"operationId": "healthz", "summary": summary, "security": [], "responses": answers}
    return {"servers": [{"url": "/"}], "get": operation}


def _places(path: str) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": _PLACES[name]}
        for name in _PLACEHOLDER.findall(path)
    ]


def _json(description: str, schema: js.Schema) -> dict[str, Any]:
    return {"description": description, "content": {"application/json": {"schema": schema}}}


def _refusals(statuses: set[int]) -> dict[str, Any]:
    problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
    return {
        str(status): {
            "description": f"{HTTPStatus(status).phrase}.",
            "content": {TYPE: problem},
        }
        for status in sorted(statuses)
    }
