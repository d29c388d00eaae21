"""Users, their roles, passwords and tokens; each change is an event without its secret.

Belongs here: keeping users, and finding one by name, password or token. Does not belong here:
sessions and how often one may try (`pipelines.desk`).
"""

from __future__ import annotations

import hashlib
import re
import secrets
from dataclasses import dataclass, replace
from typing import Any, cast

import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import ROLES, Caller, Role
from pipelines.actions.passwords import fits, hashed
from pipelines.actions.values import refuse, text, word
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded, moment_text
from pipelines.events.tables import SESSIONS, TOKENS, USERS
from pipelines.workspace.clock import now
from pipelines.workspace.layout import Workspace

_SIGN_IN_NAME = re.compile(r"[a-z0-9._-]{1,64}")
_MOST_NAME = 200


@dataclass(frozen=True)
class User:
    """One user, without the password."""

    user: str
    name: str
    role: Role
    disabled: bool

    def to_dict(self) -> dict[str, Any]:
        """As lists tell a user."""
        return {
            "user": self.user,
            "name": self.name,
            "role": self.role,
            "disabled": self.disabled,
        }


def all_users(desk: Desk) -> list[User]:
    """Every user by sign-in name."""
    with desk.reading() as connection:
        rows = connection.execute(sa.select(USERS).order_by(USERS.c.user)).all()
    return [_user(row) for row in rows]


def has_users(desk: Desk) -> bool:
    """Whether there is any user."""
    with desk.reading() as connection:
        return connection.execute(sa.select(USERS.c.user).limit(1)).first() is not None


def find_user(desk: Desk, user: str) -> User | None:
    """The user of a sign-in name."""
    with desk.reading() as connection:
        row = connection.execute(sa.select(USERS).where(USERS.c.user == user)).first()
    return _user(row) if row else None


def acting_user(desk: Desk, who: str) -> User | None:
    """The user of a sign-in name or name who is not disabled, as `--by` names one.

    Raises:
        Refused: 403 where there are users and none of them is meant, or several are.
    """
    users = all_users(desk)
    if not users:
        return None
    who = who.strip()
    active = [user for user in users if not user.disabled]
    matches = [user for user in active if user.user == who] or [
        user for user in active if user.name.casefold() == who.casefold()
    ]
    if len(matches) != 1:
        reason = "is the name of several users; give the sign-in name" if matches else "is no user"
        raise Refused(
            403, f'"{who}" {reason}; `limeledger user list` names them. Nothing was recorded.'
        )
    return matches[0]


def user_with_password(desk: Desk, user: str, password: str) -> User | None:
    """The user whose name and password these are; None where either is wrong or is disabled.

    Takes the same time whether or not there is such a user.
    """
    with desk.reading() as connection:
        row = connection.execute(sa.select(USERS).where(USERS.c.user == user)).first()
    good = fits(password, row.password if row else None)
    return _user(row) if row and good and not row.disabled else None


def user_of_token(desk: Desk, token: str) -> User | None:
    """The user of a token with the role of today; None for an unknown token or a disabled user."""
    chosen = sa.select(USERS).join_from(USERS, TOKENS, USERS.c.user == TOKENS.c.user)
    with desk.reading() as connection:
        row = connection.execute(chosen.where(TOKENS.c.token == _digest(token))).first()
    return _user(row) if row and not row.disabled else None


def add_user(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    user: str,
    name: str,
    role: str,
    password: str | None = None,
) -> Answer:
    """Makes a user; without a password one who can act by commands and tokens alone."""
    caller.require("users")
    if not isinstance(user, str) or not _SIGN_IN_NAME.fullmatch(user):
        raise refuse("user", "is no sign-in name; use 1 to 64 of a-z, 0-9, dot, dash, underscore.")
    name = " ".join(text("name", name, most=_MOST_NAME).split())
    role = word("role", role, ROLES)
    kept = hashed(password) if password is not None else None

    def do(connection: sa.Connection) -> int:
        if connection.execute(sa.select(USERS.c.user).where(USERS.c.user == user)).first():
            raise Refused(409, f"There is a user {user} already. Nothing was recorded.")
        connection.execute(
            sa.insert(USERS).values(
                user=user,
                name=name,
                role=role,
                disabled=False,
                password=kept,
                made_at=moment_text(now()),
            )
        )
        payload = {"change": "added", "name": name, "role": role}
        return desk.append(connection, caller.event("user", subject=user, payload=payload))

    return act(desk, caller, do, _answer(desk, user))


def set_role(desk: Desk, workspace: Workspace, caller: Caller, *, user: str, role: str) -> Answer:
    """Gives a user another role; open sessions end."""
    role = word("role", role, ROLES)
    return _change(desk, caller, user, {"change": "role", "role": role}, {"role": role})


def set_password(
    desk: Desk, workspace: Workspace, caller: Caller, *, user: str, password: str
) -> Answer:
    """Gives a user another password; open sessions end."""
    kept = hashed(password)
    return _change(desk, caller, user, {"change": "password"}, {"password": kept})


def set_disabled(
    desk: Desk, workspace: Workspace, caller: Caller, *, user: str, disabled: bool
) -> Answer:
    """Disables a user, whose sessions end, or enables one."""
    payload = {"change": "disabled" if disabled else "enabled"}
    return _change(desk, caller, user, payload, {"disabled": disabled})


def make_token(desk: Desk, workspace: Workspace, caller: Caller, *, user: str) -> Answer:
    """Makes a token of a user; `token` in the answer is told this once."""
    caller.require("users")
    token = secrets.token_urlsafe(32)

    def do(connection: sa.Connection) -> int:
        _need_user(connection, user)
        connection.execute(
            sa.insert(TOKENS).values(token=_digest(token), user=user, made_at=moment_text(now()))
        )
        payload = {"change": "token"}
        return desk.append(connection, caller.event("user", subject=user, payload=payload))

    once_told = replace(caller, once=None)  # a secret is not kept to be told again
    return act(desk, once_told, do, _answer(desk, user)) | {"token": token}


def _change(
    desk: Desk, caller: Caller, user: str, payload: dict[str, Any], values: dict[str, Any]
) -> Answer:
    caller.require("users")

    def do(connection: sa.Connection) -> int:
        _need_user(connection, user)
        connection.execute(sa.update(USERS).where(USERS.c.user == user).values(**values))
        connection.execute(sa.delete(SESSIONS).where(SESSIONS.c.user == user))
        return desk.append(connection, caller.event("user", subject=user, payload=payload))

    return act(desk, caller, do, _answer(desk, user))


def _need_user(connection: sa.Connection, user: str) -> None:
    if not connection.execute(sa.select(USERS.c.user).where(USERS.c.user == user)).first():
        raise Refused(404, f'There is no user "{user}"; `limeledger user list` names them.')


def _answer(desk: Desk, user: str) -> Any:
    def tell(event: Recorded) -> Answer:
        changed = find_user(desk, user)
        return {"event": event.event, **(changed.to_dict() if changed else {})}

    return tell


def _user(row: Any) -> User:
    return User(row.user, row.name, cast(Role, row.role), bool(row.disabled))


def _digest(token: str) -> str:
    """Tokens hold 256 random bits, so a plain hash cannot be guessed back."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
