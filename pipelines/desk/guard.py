"""The outermost layer: whose name was called, which path was meant, and the headers of each answer.

Belongs here: what holds for every request alike. Does not belong here: who is calling (`people`),
or what a path does.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipelines.desk.problems import Problem, problem_response

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
}
API = "/api/v1"


class Guard:
    """Refuses requests for other hosts, and gives every answer its headers.

    Routes see the path as it came, still percent-encoded, so that a slash inside of a segment is
    no separator.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], *, is_https: bool) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.is_https = is_https

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if self.is_https:
                    headers.setdefault("Strict-Transport-Security", "max-age=31536000")
            await send(message)

        raw = scope.get("raw_path") or scope["path"].encode("utf-8")
        path = raw.split(b"?")[0].decode("latin-1")
        called = Headers(scope=scope).getlist("host")
        if len(called) != 1 or not self._is_ours(called[0]):
            await _misdirected(path)(scope, receive, with_headers)
            return
        await self.app({**scope, "path": path, "root_path": ""}, receive, with_headers)

    def _is_ours(self, called: str) -> bool:
        host = host_of(called)
        return host is not None and (host in self.hosts or is_loopback(host))


def host_of(authority: str) -> str | None:
    """The name or address in a Host header, without its port; None where it is none."""
    if any(character in authority for character in "/\\@?# \t"):
        return None
    try:
        parts = urlsplit(f"//{authority}")
        _ = parts.port
    except ValueError:
        return None
    return parts.hostname.rstrip(".") if parts.hostname else None


def is_loopback(host: str) -> bool:
    """Whether a name or an address is this very machine's own."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _misdirected(path: str) -> Response:
    sentence = (
        "This desk is not reached by that name. Use the address that it was started with, or "
        "put its public address into [desk] public_url in limeledger.toml."
    )
    if path.startswith(API):
        return problem_response(Problem(421, sentence))
    return PlainTextResponse(f"{sentence}\n", 421)
