"""One event: what is appended, what stands in the database, and the digest that chains them.

Belongs here: the form of an event. Does not belong here: where events are kept (`database`), or
what they add up to.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Via = Literal["web", "api", "command", "import", "refresh"]
Kind = Literal[
    "ruling",
    "approval",
    "withdrawal",
    "appeal",
    "note",
    "assignment",
    "hold",
    "record",
    "correction",
    "document",
    "letter",
    "sending",
    "closing",
    "user",
]
FIRST = ""  # what stands before the first event


@dataclass(frozen=True)
class Event:
    """What one person (or a refresh) did, before it has its number.

    at: the moment, aware; None for now.
    subject: what was acted on, as people call it: a feed and key, a letter, a user.
    payload: what the action said, and what was frozen; only what JSON can hold.
    """

    kind: Kind
    as_of: dt.date
    actor: str
    via: Via
    claim: str | None = None
    subject: str | None = None
    payload: Mapping[str, Any] = field(default_factory=dict)
    os_user: str | None = None
    at: dt.datetime | None = None


@dataclass(frozen=True)
class Recorded:
    """An event as the database holds it; `at` is UTC in ISO 8601 with microseconds."""

    event: int
    at: str
    as_of: dt.date
    actor: str
    via: str
    os_user: str | None
    kind: str
    claim: str | None
    subject: str | None
    payload: dict[str, Any]
    previous: str
    digest: str

    @property
    def moment(self) -> dt.datetime:
        """When it happened, aware, in UTC."""
        return dt.datetime.fromisoformat(self.at)

    def to_dict(self) -> dict[str, Any]:
        """The event as commands and the API tell it."""
        return {
            "event": self.event,
            "at": self.at,
            "as_of": self.as_of,
            "actor": self.actor,
            "via": self.via,
            "os_user": self.os_user,
            "kind": self.kind,
            "claim": self.claim,
            "subject": self.subject,
            "payload": self.payload,
            "previous": self.previous,
            "digest": self.digest,
        }


def moment_text(at: dt.datetime) -> str:
    """A moment as the desk's tables hold it: UTC, ISO 8601, always with microseconds."""
    return at.astimezone(dt.UTC).isoformat(timespec="microseconds")


def digest_of(row: Mapping[str, Any]) -> str:
    """The SHA-256 over a row's columns but its digest, as JSON with sorted keys."""
    columns = {name: value for name, value in row.items() if name != "digest"}
    columns["as_of"] = columns["as_of"].isoformat()
    text = json.dumps(columns, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def chain_faults(events: Iterable[Recorded]) -> Iterator[str]:
    """A sentence for each event at which the chain of digests is broken; all events in order."""
    number, digest = 0, FIRST
    for event in events:
        if event.event <= number:
            yield f"Event {event.event} stands behind event {number}; numbers must rise."
        if event.previous != digest:
            yield f"Event {event.event} does not follow the event before it: one is missing."
        if digest_of(event.to_dict()) != event.digest:
            yield f"Event {event.event} is not as it was recorded; its digest does not fit."
        number, digest = event.event, event.digest
