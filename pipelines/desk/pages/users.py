"""Users, for administrators: who may sign in, in which role, and tokens for programs.

Belongs here: the page and its forms. Does not belong here: what a user is
(`pipelines.actions.users`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import anyio
from anyio import to_thread
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from pipelines.actions import ROLES, Caller, users
from pipelines.desk.bodies import Form, read_form
from pipelines.desk.people import check_token, visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem, problem_of
from pipelines.desk.rendering import page, shown_problem
from pipelines.desk.site import DeskSite
from pipelines.errors import LimeledgerError

Change = Callable[[DeskSite, Caller, str, Form], dict[str, Any]]


def routes(site: DeskSite) -> list[Route]:
    """The paths of users."""
    hashing = anyio.CapacityLimiter(2)  # as for passwords that are tried

    def shown(request: Request) -> Response:
        caller_of(site, visitor(request), "web").require("users")
        return _page(request, site)

    def changing(change: Change, *, is_token: bool = False) -> Any:
        async def endpoint(request: Request) -> Response:
            form = await read_form(request)
            check_token(request, site, form.get("csrf_token"))
            caller = caller_of(site, visitor(request), "web")
            user = request.path_params.get("user") or (form.get("user") or "").strip()
            try:
                answer = await to_thread.run_sync(change, site, caller, user, form, limiter=hashing)
            except LimeledgerError as error:
                problem = problem_of(error)
                return await run_in_threadpool(_page, request, site, form, problem)
            if is_token:
                return await run_in_threadpool(_page, request, site, None, None, answer)
            return RedirectResponse("/users", 303)

        return endpoint

    place = "/users/{user:segment}"
    return [
        Route("/users", shown, methods=["GET"]),
        Route("/users", changing(_add), methods=["POST"]),
        Route(f"{place}/role", changing(_role), methods=["POST"]),
        Route(f"{place}/password", changing(_password), methods=["POST"]),
        Route(f"{place}/disabling", changing(_disabling), methods=["POST"]),
        Route(f"{place}/enabling", changing(_enabling), methods=["POST"]),
        Route(f"{place}/token", changing(_token, is_token=True), methods=["POST"]),
    ]


def _page(
    request: Request,
    site: DeskSite,
    form: Form | None = None,
    problem: Problem | None = None,
    token: Mapping[str, Any] | None = None,
) -> Response:
    typed = {name: (form.get(name) if form else "") or "" for name in ("user", "name", "role")}
    errors: dict[str, list[str]] = {}
    for name, why in problem.errors if problem else ():
        errors.setdefault(name, []).append(why)
    content = {
        "title": "Users",
        "users": [user.to_dict() for user in users.all_users(site.desk)],
        "roles": [(role, role) for role in ROLES],
        "typed": typed,
        "errors": errors,
        "told": shown_problem(problem, site.settings.zone) if problem else None,
        "token": token,
    }
    status = problem.status if problem else 200
    return page(request, site, "desk/users.html", content, status=status)


def _add(site: DeskSite, caller: Caller, user: str, form: Form) -> dict[str, Any]:
    return users.add_user(
        site.desk,
        site.workspace,
        caller,
        user=user,
        name=form.get("name") or "",
        role=form.get("role") or "",
        password=form.get("password") or "",
    )


def _role(site: DeskSite, caller: Caller, user: str, form: Form) -> dict[str, Any]:
    role = form.get("role") or ""
    return users.set_role(site.desk, site.workspace, caller, user=user, role=role)


def _password(site: DeskSite, caller: Caller, user: str, form: Form) -> dict[str, Any]:
    given = form.get("password") or ""
    return users.set_password(site.desk, site.workspace, caller, user=user, password=given)


def _disabling(site: DeskSite, caller: Caller, user: str, _: Form) -> dict[str, Any]:
    return users.set_disabled(site.desk, site.workspace, caller, user=user, disabled=True)


def _enabling(site: DeskSite, caller: Caller, user: str, _: Form) -> dict[str, Any]:
    return users.set_disabled(site.desk, site.workspace, caller, user=user, disabled=False)


def _token(site: DeskSite, caller: Caller, user: str, _: Form) -> dict[str, Any]:
    return users.make_token(site.desk, site.workspace, caller, user=user)
