"""Who is calling: a session, a program's token, or a user whom a trusted proxy names.

Belongs here: telling callers apart, and refusing what comes from other sites. Does not belong
here: what a role may do (`pipelines.actions`), passwords and cookies (`sign_in`, `sessions`).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pipelines.actions.users import User, find_user, user_of_token
from pipelines.desk import sessions
from pipelines.desk.guard import API
from pipelines.desk.problems import WORDS, Problem
from pipelines.desk.sessions import COOKIE, FORM_COOKIE
from pipelines.desk.site import DeskSite

SAFE = ("GET", "HEAD", "OPTIONS")
OPEN = ("/healthz", "/sign-in", "/first-administrator")
NOT_OURS = (
    "This form was not sent from a page of this desk, so nothing was recorded. Open the page "
    "again and send it from there."
)


@dataclass(frozen=True)
class Visitor:
    """A user who is calling, and how: by cookie, by token, or named by a proxy.

    `csrf_token` is what a form of theirs must carry; None for programs, which need none.
    """

    user: User
    how: Literal["cookie", "token", "proxy"]
    csrf_token: str | None


class Callers:
    """Lets signed-in callers through, as `visitor` of the request; others are sent to sign in."""

    def __init__(
        self, app: ASGIApp, site: DeskSite, refused: Callable[[Request, Problem], Response]
    ) -> None:
        self.app = app
        self.site = site
        self.refused = refused

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        try:
            _refuse_no_text(scope)
            scope["visitor"] = visitor = await visitor_of(request, self.site)
            unsafe = request.method not in SAFE
            if unsafe and (visitor is None or visitor.how != "token"):
                _refuse_other_sites(request, self.site)
            if visitor is None and not _is_open(request.url.path):
                await _sign_in_first(request)(scope, receive, send)
                return
        except Problem as problem:
            await self.refused(request, problem)(scope, receive, send)
            return
        await self.app(scope, receive, send)


def _refuse_no_text(scope: Scope) -> None:
    """An address with NUL names nothing, and not every database can be asked for it."""
    if "%00" in scope["path"]:
        raise Problem(404, WORDS[404])
    if b"%00" in scope["query_string"]:
        raise Problem(422, "The address holds a character that no text can hold.")


def _is_open(path: str) -> bool:
    return path in OPEN or path.startswith("/assets/")


def _sign_in_first(request: Request) -> Response:
    """A page leads to the password, a program learns that it has to say who it is."""
    path = request.url.path
    if path.startswith(f"{API}/") or path == API:
        raise Problem(
            401,
            "Say who you are: sign in, or send a token of `limeledger user token`.",
            headers={"WWW-Authenticate": 'Bearer realm="limeledger"'},
        )
    target = path + (f"?{request.url.query}" if request.url.query else "")
    following = f"?next={quote(target, safe='')}" if request.method in SAFE else ""
    return RedirectResponse(f"/sign-in{following}", 303)


async def visitor_of(request: Request, site: DeskSite) -> Visitor | None:
    """Who is calling; None where nobody says so.

    Raises:
        Problem: 401 a token that is none, 403 a proxy names somebody who may not come in.
    """
    given = request.headers.get("authorization", "")
    kind, _, token = given.partition(" ")
    if kind.lower() == "bearer":
        user = await run_in_threadpool(user_of_token, site.desk, token.strip())
        if user is None:
            raise Problem(
                401,
                "The token is not known, or its user is disabled.",
                headers={"WWW-Authenticate": 'Bearer realm="limeledger", error="invalid_token"'},
            )
        return Visitor(user, "token", None)
    name = proxy_user(request, site)
    if name is not None:
        user = await run_in_threadpool(find_user, site.desk, name)
        if user is None or user.disabled:
            raise Problem(
                403, f'"{name}" is no user of this desk, or is disabled; ask an administrator.'
            )
        return Visitor(user, "proxy", site.cookies.proxy_token(user.user))
    held = site.cookies.held(request.cookies.get(COOKIE))
    if held is None:
        return None
    session = await run_in_threadpool(sessions.find, site.desk, held)
    return Visitor(session.user, "cookie", session.csrf_token) if session else None


def proxy_user(request: Request, site: DeskSite) -> str | None:
    """The user whom a trusted proxy names; None where none does."""
    header = site.settings.desk.trusted_header
    if not header or not is_trusted(peer(request), site):
        return None
    names = [name.strip() for name in request.headers.getlist(header) if name.strip()]
    if len(names) > 1:
        raise Problem(403, f"The proxy names several users in {header}.")
    return names[0] if names else None


def speaks_for_everybody(request: Request, site: DeskSite) -> bool:
    """Whether the request comes from a proxy that names the users, so that no password is asked."""
    return bool(site.settings.desk.trusted_header) and is_trusted(peer(request), site)


def peer(request: Request) -> str:
    """The address at the other end of the connection."""
    return request.client.host if request.client else ""


def address_of(request: Request, site: DeskSite) -> str:
    """The caller's address: behind a trusted proxy, the last one that the proxy itself saw."""
    address = peer(request)
    forwarded = [
        part.strip()
        for line in request.headers.getlist("x-forwarded-for")
        for part in line.split(",")
    ]
    while forwarded and is_trusted(address, site):
        address = forwarded.pop()
    return address[:64]


def is_trusted(address: str, site: DeskSite) -> bool:
    """Whether an address is one of the settings' proxies."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return False
    if isinstance(known, ipaddress.IPv6Address) and known.ipv4_mapped:
        known = known.ipv4_mapped
    return any(known in network for network in site.proxies)


def _refuse_other_sites(request: Request, site: DeskSite) -> None:
    """A form of another site is refused where the browser tells that it is one (W3C Fetch
    Metadata; RFC 6454, 7)."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        raise Problem(403, NOT_OURS)
    origin = request.headers.get("origin")
    if origin is not None and origin.lower() not in own_origins(request, site):
        raise Problem(403, NOT_OURS)


def own_origins(request: Request, site: DeskSite) -> set[str]:
    """The origins under which this request reached the desk."""
    host = request.headers.get("host", "").lower()
    public = urlsplit(site.settings.desk.public_url)
    origins = {f"{'https' if site.has_tls else 'http'}://{host}"}
    if public.hostname:
        origins.add(f"{public.scheme}://{public.netloc}".lower())
    return origins


def check_token(request: Request, site: DeskSite, given: str | None) -> None:
    """Holds a form, or a call by cookie, to the token of its session.

    Raises:
        Problem: 403 it carries none, or that of another.
    """
    visitor: Visitor | None = request.scope.get("visitor")
    if visitor is not None and visitor.how == "token":
        return
    if visitor is None:
        wanted = site.cookies.form_token(request.cookies.get(FORM_COOKIE))
    else:
        wanted = visitor.csrf_token
    if not sessions.same(wanted, given or request.headers.get("x-csrf-token")):
        raise Problem(403, NOT_OURS)


def visitor(request: Request) -> Visitor:
    """Who is calling, where `Callers` let only signed-in ones through."""
    signed_in: Visitor = request.scope["visitor"]
    return signed_in
