"""Who acts, in which role, by which way and on which day; and what each role may do.

Belongs here: roles. Does not belong here: how somebody signed in (`pipelines.desk`), limits of
rulings (`pipelines.actions.rulings`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import dataclass
from typing import Any, Literal

from pipelines.errors import Refused
from pipelines.events.event import Event, Kind, Via

Role = Literal["reader", "clerk", "lead", "engineer", "administrator"]
ROLES: tuple[Role, ...] = ("reader", "clerk", "lead", "engineer", "administrator")
Action = Literal[
    "note",
    "assign",
    "hold",
    "appeal",
    "rule",
    "approve",
    "withdraw",
    "record",
    "correct",
    "document",
    "letters",
    "close",
    "users",
]
_CLERK = {
    "note",
    "assign",
    "hold",
    "appeal",
    "rule",
    "withdraw",
    "record",
    "correct",
    "document",
    "letters",
}
_MAY: dict[str, set[str]] = {
    "reader": set(),
    "clerk": _CLERK,
    "lead": _CLERK | {"approve", "close"},
    "engineer": {"note", "record", "correct", "document", "withdraw"},
    "administrator": {"users"},
}
_WORDS: dict[str, str] = {
    "note": "write notes",
    "assign": "assign claims",
    "hold": "hold claims",
    "appeal": "record appeals",
    "rule": "rule",
    "approve": "approve rulings",
    "withdraw": "withdraw what was recorded",
    "record": "enter records",
    "correct": "correct rows",
    "document": "add documents",
    "letters": "send or mark letters",
    "close": "close months",
    "users": "keep users",
}


@dataclass(frozen=True)
class Once:
    """An Idempotency-Key with the path and the body it came with (SHA-256)."""

    key: str
    path: str
    body: str

    @classmethod
    def of(cls, key: str, path: str, body: object) -> Once:
        """The same for any body that JSON can hold."""
        text = json.dumps(body, sort_keys=True, ensure_ascii=True, default=str)
        return cls(key, path, hashlib.sha256(text.encode()).hexdigest())


@dataclass(frozen=True)
class Caller:
    """Who acts.

    actor: the sign-in name; while the desk has no user, whoever they say they are.
    name: the name that rulings carry, by which limits are looked up.
    role: None while the desk has no user: then anyone may do anything.
    as_of: the desk's day.
    """

    actor: str
    name: str
    role: Role | None
    via: Via
    as_of: dt.date
    os_user: str | None = None
    once: Once | None = None

    def may(self, action: Action) -> bool:
        """Whether the role allows an action."""
        return self.role is None or action in _MAY[self.role]

    def require(self, action: Action) -> None:
        """Refuses what the role does not allow, with 403."""
        if not self.may(action):
            may = sorted(role for role, actions in _MAY.items() if action in actions)
            raise Refused(
                403,
                f"{self.name} has the role {self.role}, which may not {_WORDS[action]}; ask a "
                f"{' or '.join(may)}. Nothing was recorded.",
            )

    def event(
        self,
        kind: Kind,
        *,
        claim: str | None = None,
        subject: str | None = None,
        payload: dict[str, Any] | None = None,
    ) -> Event:
        """An event of this caller."""
        return Event(
            kind=kind,
            as_of=self.as_of,
            actor=self.actor,
            via=self.via,
            claim=claim,
            subject=subject,
            payload=payload or {},
            os_user=self.os_user,
        )
