"""A desk that is called in this process, over ASGI, as a browser or a program calls it."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, unquote_to_bytes, urlencode

import pytest

from pipelines.actions import Caller
from pipelines.actions.users import add_user, make_token
from pipelines.desk.application import application
from pipelines.desk.site import site_of
from pipelines.events import open_desk
from pipelines.workspace.create import create_workspace
from pipelines.workspace.layout import Workspace

DAY = dt.date(2026, 3, 31)
PASSWORD = "correct horse battery staple"
USERS = (
    ("rea", "Rea Dunn", "reader"),
    ("ada", "Ada Marsh", "clerk"),
    ("leo", "Leo Quint", "lead"),
    ("eng", "Enid Gale", "engineer"),
    ("adm", "Adm Keller", "administrator"),
)
TOKEN = re.compile(r'name="csrf_token" value="([^"]*)"')


@dataclass
class Answer:
    """One answer: status, headers in their order, body."""

    status: int
    headers: list[tuple[str, str]]
    body: bytes

    def __getitem__(self, name: str) -> str:
        return next(value for key, value in self.headers if key == name.lower())

    def get(self, name: str) -> str | None:
        return next((value for key, value in self.headers if key == name.lower()), None)

    def all(self, name: str) -> list[str]:
        return [value for key, value in self.headers if key == name.lower()]

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    @property
    def json(self):
        return json.loads(self.body)

    @property
    def csrf_token(self) -> str:
        return TOKEN.search(self.text)[1]


@dataclass
class Browser:
    """Sends requests and keeps cookies; `token` makes it a program."""

    app: object
    token: str | None = None
    host: str = "127.0.0.1:8765"
    peer: str = "127.0.0.1"
    cookies: dict[str, str] = field(default_factory=dict)

    def get(self, path: str, **more) -> Answer:
        return self.send("GET", path, **more)

    def post(self, path: str, form=None, **more) -> Answer:
        """A form as a browser sends it; pairs where a field is repeated."""
        if form is not None:
            pairs = list(form.items()) if isinstance(form, dict) else form
            more["body"] = urlencode(pairs).encode()
            more.setdefault("kind", "application/x-www-form-urlencoded")
        return self.send("POST", path, **more)

    def call(self, path: str, body=None, *, version=None, key=None, **more) -> Answer:
        """An action of the API."""
        headers = dict(more.pop("headers", {}))
        if version is not None:
            headers["if-match"] = f'"{version}"'
        if key is not None:
            headers["idempotency-key"] = key
        raw = b"" if body is None else json.dumps(body).encode()
        return self.send(
            "POST", f"/api/v1{path}", body=raw, kind="application/json", headers=headers, **more
        )

    def send(self, method, path, *, body=b"", kind=None, headers=None, host=None) -> Answer:
        sent = [(b"host", (host or self.host).encode())]
        if host == "":
            sent = []
        if kind:
            sent.append((b"content-type", kind.encode()))
        if body:
            sent.append((b"content-length", str(len(body)).encode()))
        if self.token:
            sent.append((b"authorization", f"Bearer {self.token}".encode()))
        if self.cookies:
            told = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
            sent.append((b"cookie", told.encode()))
        pairs = headers.items() if isinstance(headers, dict) else headers or ()
        sent += [(name.lower().encode(), value.encode()) for name, value in pairs]
        raw, _, query = path.partition("?")
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote_to_bytes(raw).decode("utf-8", "replace"),
            "raw_path": raw.encode("utf-8"),
            "query_string": query.encode(),
            "root_path": "",
            "headers": sent,
            "client": (self.peer, 50_000),
            "server": ("127.0.0.1", 8765),
        }
        answer = asyncio.run(self._run(scope, body))
        for cookie in answer.all("set-cookie"):
            name, _, value = cookie.split(";")[0].partition("=")
            self.cookies[name] = value.strip('"')
            if not self.cookies[name]:
                del self.cookies[name]
        return answer

    async def _run(self, scope, body: bytes) -> Answer:
        told = {"status": 0, "headers": []}
        parts: list[bytes] = []
        pieces = [body[at : at + 65_536] for at in range(0, len(body), 65_536)] or [b""]
        self.unread = len(pieces)

        async def receive():
            if not pieces:
                await asyncio.Event().wait()  # nobody hangs up before the answer
            piece = pieces.pop(0)
            self.unread = len(pieces)
            return {"type": "http.request", "body": piece, "more_body": bool(pieces)}

        async def send(message):
            if message["type"] == "http.response.start":
                told["status"] = message["status"]
                told["headers"] = [(k.decode(), v.decode()) for k, v in message["headers"]]
            else:
                parts.append(message.get("body", b""))

        await self.app(scope, receive, send)  # a fault of the desk itself fails the test
        return Answer(told["status"], told["headers"], b"".join(parts))

    def sign_in(self, user: str, password: str = PASSWORD, following: str | None = None) -> Answer:
        """Signs in by the form."""
        path = "/sign-in" if following is None else f"/sign-in?next={quote(following, safe='')}"
        shown = self.get(path)
        form = {"user": user, "password": password, "csrf_token": shown.csrf_token}
        if (kept := re.search(r'name="next" value="([^"]*)"', shown.text)) is not None:
            form["next"] = kept[1].replace("&amp;", "&")
        return self.post("/sign-in", form)


@dataclass
class Served:
    """A desk in this process, its application, and a token of each user."""

    site: object
    app: object
    tokens: dict[str, str]

    def browser(self, **more) -> Browser:
        return Browser(self.app, **more)

    def program(self, user: str) -> Browser:
        return Browser(self.app, token=self.tokens[user])

    def signed_in(self, user: str) -> Browser:
        browser = self.browser()
        assert browser.sign_in(user).status == 303
        return browser

    def events(self, **chosen):
        with self.site.desk.reading() as connection:
            return self.site.desk.events(connection, **chosen)


def with_users(desk) -> dict[str, str]:
    """Makes one user a role; the token of each."""
    nobody = Caller("root", "root", None, "command", DAY)
    tokens = {}
    for user, name, role in USERS:
        add_user(desk, desk.workspace, nobody, user=user, name=name, role=role, password=PASSWORD)
        tokens[user] = make_token(desk, desk.workspace, nobody, user=user)["token"]
    return tokens


def serve(folder: Path, *, users: bool = True, settings: str = "", **more) -> Iterator[Served]:
    """The desk of a workspace."""
    if settings:
        file = folder / "limeledger.toml"
        file.write_text(file.read_text(encoding="utf-8") + settings, encoding="utf-8")
    desk = open_desk(Workspace.open(folder))
    tokens = with_users(desk) if users else {}
    site = site_of(desk, as_of=DAY, **more)
    try:
        yield Served(site, application(site), tokens)
    finally:
        desk.close()


@pytest.fixture
def folder(tmp_path) -> Path:
    """A workspace that nobody has refreshed."""
    create_workspace(tmp_path / "w")
    return tmp_path / "w"


@pytest.fixture
def served(folder, passwords_are_quick) -> Iterator[Served]:
    """A desk with one user a role, and no claim."""
    yield from serve(folder)
