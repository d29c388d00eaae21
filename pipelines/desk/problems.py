"""What could not be done, as an answer: RFC 9457 for programs, words for people.

Belongs here: statuses and their names. Does not belong here: deciding what may be done.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from pipelines.errors import LimeledgerError, Refused

TYPE = "application/problem+json"
WORDS = {
    404: "There is nothing at this address.",
    405: "This address does not take that.",
}


class Problem(Exception):
    """A request that was not done: its status, a sentence, and what is wrong field by field.

    `more` are further members of the answer, such as the events since a version.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        errors: Sequence[tuple[str, str]] = (),
        *,
        headers: Mapping[str, str] | None = None,
        more: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = list(errors)
        self.headers = dict(headers or {})
        self.more = dict(more or {})

    @property
    def title(self) -> str:
        """The name of the status."""
        return HTTPStatus(self.status).phrase

    def body(self) -> dict[str, Any]:
        """The problem details of RFC 9457, 3."""
        details: dict[str, Any] = {
            "type": "about:blank",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
        }
        if self.errors:
            details["errors"] = [{"field": name, "detail": why} for name, why in self.errors]
        return details | self.more


def problem_response(problem: Problem) -> JSONResponse:
    """The problem for a program."""
    return JSONResponse(problem.body(), problem.status, problem.headers, media_type=TYPE)


def problem_of(error: Exception) -> Problem:
    """What a request ends with, as a problem."""
    if isinstance(error, Problem):
        return error
    if isinstance(error, Refused):
        more = {"since": error.since} if error.status == 412 else {}
        return Problem(error.status, error.detail, error.errors, more=more)
    if isinstance(error, HTTPException):
        headers = dict(error.headers or {})
        return Problem(
            error.status_code, WORDS.get(error.status_code, error.detail), headers=headers
        )
    if isinstance(error, LimeledgerError):
        status = {4: 404, 3: 503}.get(error.exit_code, 503)
        return Problem(status, str(error))
    return Problem(
        500,
        "This is a fault of the desk, not of your data. Nothing of this request was recorded, or "
        "all of it: look at the page again. The details are on the terminal of the desk.",
    )
