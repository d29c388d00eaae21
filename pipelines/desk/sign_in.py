"""Signing in and out, and the first administrator of a desk that has no user yet.

Belongs here: the forms before a session, and its cookie. Does not belong here: who is calling
(`people`), counting failures (`attempts`).
"""

from __future__ import annotations

import anyio
from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from pipelines.actions import users
from pipelines.actions.caller import Caller
from pipelines.actions.passwords import FEWEST_CHARACTERS
from pipelines.desk import sessions
from pipelines.desk.attempts import TooMany, begin_try, take_back
from pipelines.desk.bodies import Form, read_form
from pipelines.desk.entrance import (
    entrance_page,
    forget_cookie,
    minutes,
    next_of,
    set_cookie,
)
from pipelines.desk.people import address_of, check_token, speaks_for_everybody
from pipelines.desk.problems import Problem
from pipelines.desk.sessions import COOKIE, FORM_COOKIE
from pipelines.desk.site import DeskSite
from pipelines.errors import Refused

WRONG = "Name and password do not fit. Check both; an administrator can give a new password."
AT_ONCE = 2  # a try takes a third of a second of a core, and 64 MiB
MOST_NAME = 64


def routes(site: DeskSite) -> list[Route]:
    """The paths of signing in and out."""
    entrance = Entrance(site)
    return [
        Route("/sign-in", entrance.form, methods=["GET"]),
        Route("/sign-in", entrance.sign_in, methods=["POST"]),
        Route("/sign-out", entrance.sign_out, methods=["POST"]),
        Route("/first-administrator", entrance.invitation, methods=["GET"]),
        Route("/first-administrator", entrance.first_administrator, methods=["POST"]),
    ]


class Entrance:
    """The desk's door."""

    def __init__(self, site: DeskSite) -> None:
        self.site = site
        self.tries = anyio.CapacityLimiter(AT_ONCE)

    async def form(self, request: Request) -> Response:
        """The form, where there is anything to sign in to."""
        following = next_of(request.query_params.get("next"))
        if request.scope["visitor"] is not None:
            return RedirectResponse(following, 303)
        return self._form(request, following)

    async def sign_in(self, request: Request) -> Response:
        """One try."""
        self._no_proxy(request)
        form = await read_form(request)
        check_token(request, self.site, form.get("csrf_token"))
        user, password = (form.get("user") or "").strip(), form.get("password") or ""
        user = user.replace("\0", "\ufffd")  # nobody's name; not every database takes it
        following = next_of(form.get("next") or request.query_params.get("next"))
        address = address_of(request, self.site)
        admission = await to_thread.run_sync(
            self._try, user[:MOST_NAME], password, address, limiter=self.tries
        )
        if isinstance(admission, TooMany):
            sentence = f"Too many tries failed. Try again in {minutes(admission.seconds)}."
            problem = Problem(429, sentence, headers={"Retry-After": str(admission.seconds)})
            return self._form(request, following, user, problem)
        if admission is None:
            return self._form(request, following, user, Problem(401, WRONG))
        return await self._signed_in(request, admission, following)

    async def sign_out(self, request: Request) -> Response:
        """Ends the session of the cookie."""
        form = await read_form(request)
        check_token(request, self.site, form.get("csrf_token"))
        held = self.site.cookies.held(request.cookies.get(COOKIE))
        if held is not None:
            await to_thread.run_sync(sessions.end, self.site.desk, held)
        answer = RedirectResponse("/sign-in", 303)
        forget_cookie(self.site, answer, COOKIE)
        return answer

    async def invitation(self, request: Request) -> Response:
        """The form of the first administrator, for who has the link."""
        await self._invited(request.query_params.get("token"))
        return self._first_form(request, request.query_params.get("token") or "")

    async def first_administrator(self, request: Request) -> Response:
        """Makes the first administrator and signs them in."""
        form = await read_form(request)
        check_token(request, self.site, form.get("csrf_token"))
        token = form.get("token") or ""
        await self._invited(token)
        try:
            user = await to_thread.run_sync(self._make_first, form, limiter=self.tries)
        except Refused as refused:
            problem = Problem(refused.status, refused.detail, refused.errors)
            return self._first_form(request, token, form, problem)
        return await self._signed_in(request, user, "/users")

    def _try(self, user: str, password: str, address: str) -> users.User | TooMany | None:
        tried = begin_try(self.site.desk, user, address)
        if isinstance(tried, TooMany):
            return tried
        known_user = users.user_with_password(self.site.desk, user, password)
        if known_user is not None:
            take_back(self.site.desk, tried)
        return known_user

    def _make_first(self, form: Form) -> users.User:
        if users.has_users(self.site.desk):
            raise Refused(409, "There is a user already; sign in, or ask an administrator.")
        name = (form.get("user") or "").strip()
        caller = Caller(
            actor=name[:MOST_NAME],
            name=form.get("name") or "",
            role=None,
            via="web",
            as_of=self.site.day,
        )
        users.add_user(
            self.site.desk,
            self.site.workspace,
            caller,
            user=name,
            name=form.get("name") or "",
            role="administrator",
            password=form.get("password") or "",
        )
        first_user = users.find_user(self.site.desk, name)
        if first_user is None:
            raise Refused(409, "The user is gone again; try once more.")
        return first_user

    async def _signed_in(self, request: Request, user: users.User, following: str) -> Response:
        """A new session, never one that the browser brought along."""
        old = self.site.cookies.held(request.cookies.get(COOKIE))
        if old is not None:
            await to_thread.run_sync(sessions.end, self.site.desk, old)
        held, _ = await to_thread.run_sync(sessions.begin, self.site.desk, user)
        answer = RedirectResponse(following, 303)
        hours = self.site.settings.desk.session_hours
        set_cookie(self.site, answer, COOKIE, self.site.cookies.sign(held), hours * 3600)
        forget_cookie(self.site, answer, FORM_COOKIE)
        return answer

    async def _invited(self, token: str | None) -> None:
        has_users = await to_thread.run_sync(users.has_users, self.site.desk)
        if has_users or not sessions.same(self.site.invitation, token):
            raise Problem(
                404,
                "This link does not count any more. The desk prints one on its terminal while "
                "there is no user; later an administrator makes users.",
            )

    def _no_proxy(self, request: Request) -> None:
        if speaks_for_everybody(request, self.site):
            raise Problem(403, "A proxy signs you in here; it named nobody.")

    def _form(
        self,
        request: Request,
        following: str,
        user: str = "",
        problem: Problem | None = None,
    ) -> Response:
        self._no_proxy(request)
        content = {
            "title": "Sign in",
            "says": None,
            "action": "/sign-in",
            "button": "Sign in",
            "kept": [("next", following)] if following != "/" else [],
            "user": user,
            "asks_name": False,
            "hint": None,
            "password": "current-password",
        }
        return entrance_page(request, self.site, content, problem)

    def _first_form(
        self,
        request: Request,
        token: str,
        form: Form | None = None,
        problem: Problem | None = None,
    ) -> Response:
        content = {
            "title": "The first administrator",
            "says": "This desk has no user yet. Who is made here keeps the users and tokens of "
            "all others, reads everything, and does not rule.",
            "action": "/first-administrator",
            "button": "Make the administrator",
            "kept": [("token", token)],
            "user": (form and form.get("user")) or "",
            "name": (form and form.get("name")) or "",
            "asks_name": True,
            "hint": f"{FEWEST_CHARACTERS} characters or more.",
            "password": "new-password",
        }
        return entrance_page(request, self.site, content, problem)
