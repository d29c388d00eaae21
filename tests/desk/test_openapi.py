"""The description of the API is sound by the standard's own schema, and leaves nothing out."""

from __future__ import annotations

import re

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from pipelines.desk.openapi import document
from pipelines.desk.operations import OPERATIONS
from pipelines.desk.readings import READINGS


def test_the_document_is_valid() -> None:
    """OpenAPI 3.1 (spec.openapis.org/oas/3.1, its own JSON Schema, by openapi-spec-validator)."""
    OpenAPIV31SpecValidator(document()).validate()


def test_a_broken_document_would_be_told() -> None:
    """The check can fail."""
    broken = document() | {"paths": {"claims": {"get": {"responses": {"200": {}}}}}}
    assert list(OpenAPIV31SpecValidator(broken).iter_errors())


def test_every_path_of_the_application_is_described(served) -> None:
    """What answers below the API's address stands in the document, and the other way round."""
    routes = {
        (re.sub(r":\w+", "", route.path), method)
        for route in _routes(served)
        if route.path.startswith("/api/v1/")
        for method in route.methods - {"HEAD"}
    }
    told = {(f"/api/v1{path}", method.upper()) for path, method in _of_the_api()}
    assert len(told) > 10
    assert routes == told


def _of_the_api() -> dict[tuple[str, str], dict]:
    """Each operation below the API's address, by path and method."""
    return {
        (path, method): operation
        for path, methods in document()["paths"].items()
        if "servers" not in methods
        for method, operation in methods.items()
    }


def test_health_is_described_where_it_stands(served) -> None:
    """Beside the API, without a sign-in; what it answers fits."""
    paths = document()["paths"]
    assert [path for path in paths if "servers" in paths[path]] == ["/healthz"]
    described = paths["/healthz"]
    assert described["servers"] == [{"url": "/"}]
    assert described["get"]["security"] == []
    answer = served.browser().get("/healthz")
    assert sorted(described["get"]["responses"]) == ["200", "503"]
    content = described["get"]["responses"][str(answer.status)]["content"]
    Draft202012Validator(content[answer["content-type"]]["schema"]).validate(answer.json)


def _routes(served):
    app = served.app.app  # within the guard
    return app.router.routes


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.name)
def test_every_action_has_its_form(served, operation) -> None:
    """The same path without `/api/v1`."""
    forms = {re.sub(r":\w+", "", route.path) for route in _routes(served)}
    assert operation.path in forms


def test_each_refusal_is_a_problem_and_each_answer_has_a_shape() -> None:
    """No status without what comes with it."""
    seen = 0
    for operation in _of_the_api().values():
        for status, response in operation["responses"].items():
            seen += 1
            (kind,) = response["content"] if status >= "400" else list(response["content"])[:1]
            assert (kind == "application/problem+json") == (status >= "400")
    assert seen > 100
    assert {one.name for one in (*OPERATIONS, *READINGS)} <= {
        operation["operationId"] for operation in _of_the_api().values()
    }
