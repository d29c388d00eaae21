"""Sessions of people who signed in: a signed cookie, and what the database knows of it.

Belongs here: beginning, finding and ending sessions, the key that signs cookies, and the tokens
of forms. Does not belong here: passwords and tokens
(`pipelines.actions.users`), who else may call (`people`).

The cookie holds a random number, signed so that a made-up one costs no look into the database;
there it is kept as its SHA-256, so that who reads the database cannot sign in with it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import secrets
from dataclasses import dataclass

import sqlalchemy as sa
from itsdangerous import BadSignature, TimestampSigner

from pipelines.actions.users import User
from pipelines.events.database import Desk
from pipelines.events.event import moment_text
from pipelines.events.tables import SECRETS, SESSIONS, USERS
from pipelines.workspace.clock import now

COOKIE = "limeledger_session"
FORM_COOKIE = "limeledger_form"
FORM_SECONDS = 12 * 3600
_KEY = "cookies"


@dataclass(frozen=True)
class Session:
    """A session that has not ended, with the token that its forms carry."""

    key: str
    user: User
    csrf_token: str


class Cookies:
    """Signs and reads the two cookies: that of a session, and that of a form before one."""

    def __init__(self, key: str) -> None:
        self._key = key.encode()
        self._form = TimestampSigner(key, salt="form")
        self._session = TimestampSigner(key, salt="session")

    def new_form(self) -> str:
        """A cookie for a form that is filled before anybody has signed in."""
        return self._form.sign(secrets.token_urlsafe(24)).decode()

    def form_token(self, cookie: str | None) -> str | None:
        """The token of such a form; None where the cookie is not ours, or too old."""
        try:
            held = self._form.unsign(cookie or "", max_age=FORM_SECONDS)
        except BadSignature:
            return None
        return hmac.new(self._key, b"form" + held, hashlib.sha256).hexdigest()

    def proxy_token(self, user: str) -> str:
        """The token of the forms of a user whom a proxy names."""
        return hmac.new(self._key, b"proxy" + user.encode(), hashlib.sha256).hexdigest()

    def sign(self, held: str) -> str:
        """The cookie of a session."""
        return self._session.sign(held).decode()

    def held(self, cookie: str | None) -> str | None:
        """What the cookie of a session holds; None where it is not ours."""
        try:
            return self._session.unsign(cookie or "").decode()
        except (BadSignature, UnicodeDecodeError):
            return None


def signing_key(desk: Desk) -> str:
    """The key that signs this desk's cookies, made the first time that it is asked for."""
    chosen = sa.select(SECRETS.c.value).where(SECRETS.c.name == _KEY)
    with desk.writing() as connection:
        key = connection.execute(chosen).scalar()
        if key is None:
            key = secrets.token_urlsafe(48)
            connection.execute(sa.insert(SECRETS).values(name=_KEY, value=key))
    return str(key)


def begin(desk: Desk, user: User) -> tuple[str, Session]:
    """A new session: what its cookie is to hold, and the session. Those that ended are removed."""
    held, token = secrets.token_urlsafe(32), secrets.token_urlsafe(32)
    at = now()
    ends = at + dt.timedelta(hours=desk.settings.desk.session_hours)
    with desk.writing() as connection:
        connection.execute(sa.delete(SESSIONS).where(SESSIONS.c.ends_at <= moment_text(at)))
        connection.execute(
            sa.insert(SESSIONS).values(
                session=hashed(held),
                user=user.user,
                csrf_token=token,
                made_at=moment_text(at),
                ends_at=moment_text(ends),
            )
        )
    return held, Session(hashed(held), user, token)


def find(desk: Desk, held: str) -> Session | None:
    """The session of a cookie; None where it ended, or its user is gone or disabled."""
    chosen = (
        sa.select(SESSIONS.c.csrf_token, USERS.c.user, USERS.c.name, USERS.c.role)
        .join(USERS, USERS.c.user == SESSIONS.c.user)
        .where(
            SESSIONS.c.session == hashed(held),
            SESSIONS.c.ends_at > moment_text(now()),
            USERS.c.disabled.is_(sa.false()),
        )
    )
    with desk.reading() as connection:
        row = connection.execute(chosen).first()
    if row is None:
        return None
    return Session(hashed(held), User(row.user, row.name, row.role, False), row.csrf_token)


def end(desk: Desk, held: str) -> None:
    """Ends one session."""
    with desk.writing() as connection:
        connection.execute(sa.delete(SESSIONS).where(SESSIONS.c.session == hashed(held)))


def hashed(held: str) -> str:
    """What the database keeps of a random number that somebody else holds."""
    return hashlib.sha256(held.encode("utf-8", "surrogateescape")).hexdigest()


def same(one: str | None, other: str | None) -> bool:
    """Whether two tokens are the same, in the same time whether they are or not."""
    if not one or not other:
        return False
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))
