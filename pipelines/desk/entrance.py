"""What the forms before a session share: their page, their cookie, and where one goes on.

Belongs here: the markup and cookies of signing in. Does not belong here: trying passwords
(`sign_in`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from pipelines.desk.problems import Problem
from pipelines.desk.rendering import page, shown_problem
from pipelines.desk.sessions import FORM_COOKIE, FORM_SECONDS
from pipelines.desk.site import DeskSite


def entrance_page(
    request: Request, site: DeskSite, content: Mapping[str, Any], problem: Problem | None
) -> Response:
    """The form with a token of its own, which the cookie beside it proves."""
    cookie = request.cookies.get(FORM_COOKIE)
    token = site.cookies.form_token(cookie)
    if token is None:
        cookie = site.cookies.new_form()
        token = site.cookies.form_token(cookie)
    errors: dict[str, list[str]] = {}
    for name, why in problem.errors if problem else ():
        errors.setdefault(name, []).append(why)
    more = {
        "csrf_token": token,
        "told": shown_problem(problem, site.settings.zone) if problem else None,
        "errors": errors,
    }
    answer = page(
        request,
        site,
        "desk/sign_in.html",
        {**content, **more},
        status=problem.status if problem else 200,
        headers=problem.headers if problem else None,
    )
    set_cookie(site, answer, FORM_COOKIE, cookie or "", FORM_SECONDS)
    return answer


def set_cookie(site: DeskSite, answer: Response, name: str, value: str, seconds: int) -> None:
    """A cookie that no script reads and no other site sends along."""
    answer.set_cookie(
        name,
        value,
        max_age=seconds,
        path="/",
        secure=site.is_https,
        httponly=True,
        samesite="lax",
    )


def forget_cookie(site: DeskSite, answer: Response, name: str) -> None:
    """Takes a cookie back."""
    answer.delete_cookie(name, path="/", secure=site.is_https, httponly=True, samesite="lax")


def next_of(given: str | None) -> str:
    """Where to go on: a path of this desk, or its first page.

    A browser takes `//host`, `/\\host` and paths with control signs for other sites' addresses.
    """
    if not given or not given.startswith("/") or not given.isprintable() or "\\" in given:
        return "/"
    if given.startswith(("//", "/sign-in", "/sign-out")):
        return "/"
    return given


def minutes(seconds: int) -> str:
    """Seconds as a person waits for them."""
    return f"{seconds} seconds" if seconds < 90 else f"{-(-seconds // 60)} minutes"
