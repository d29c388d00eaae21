"""One action: its checks, its events in one transaction, its answer, once.

Belongs here: versions of claims (If-Match) and repeated requests (Idempotency-Key). Does not
belong here: what any action means.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any, Literal

import sqlalchemy as sa

from pipelines.actions.caller import Caller, Once
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded, moment_text
from pipelines.events.tables import ANSWERS
from pipelines.workspace.clock import now

Answer = dict[str, Any]
# A version that the caller saw; None where none was given; "present" where a command acts, which
# has no page before it.
Version = int | Literal["present"] | None
REMEMBERED = dt.timedelta(hours=24)


def act(
    desk: Desk,
    caller: Caller,
    do: Callable[[sa.Connection], int],
    tell: Callable[[Recorded], Answer],
) -> Answer:
    """Does an action in one transaction and tells it; a request sent again is only told again.

    Args:
        do: checks under the write lock and appends; the number of the last event.
        tell: the answer, from the event alone, after the commit.
    """
    known = None
    with desk.writing() as connection:
        if caller.once is not None:
            known = _known(connection, caller, caller.once)
        number = do(connection) if known is None else int(known.event)
        if known is None and caller.once is not None:
            _remember(connection, caller, caller.once, number)
        event = desk.event(connection, number)
    if known is not None and known.answer is not None:
        return dict(known.answer)
    assert event is not None  # it was appended
    answer = _as_kept(tell(event))
    if caller.once is not None:
        _complete(desk, caller, caller.once, answer)
    return answer


def answered_before(desk: Desk, caller: Caller) -> Answer | None:
    """The first answer to a request that came again, whatever has changed since: a day, a role, a
    limit. None for a new one."""
    if caller.once is None:
        return None
    with desk.reading() as connection:
        known = _known(connection, caller, caller.once)
    return None if known is None or known.answer is None else dict(known.answer)


def check_version(desk: Desk, connection: sa.Connection, claim: str, expected: Version) -> None:
    """Refuses an action on a claim that is not as its caller saw it.

    Raises:
        Refused: 428 without a version, 412 with what came since.
    """
    if expected == "present":
        return
    if expected is None:
        raise Refused(
            428,
            f"Say which version of {claim} you saw (If-Match), so that nobody's work is lost. "
            "Nothing was recorded.",
        )
    version = desk.version(connection, claim)
    if version != expected:
        after = expected if 0 <= expected < version else 0
        since = [
            event_in_short(event) for event in desk.events(connection, claim=claim, after=after)
        ]
        raise Refused(
            412,
            f"{claim} has changed since you saw it (now version {version}); look at what was done, "
            "then do it again. Nothing was recorded.",
            since=since,
        )


def event_in_short(event: Recorded) -> dict[str, Any]:
    """An event in short: who, when, what."""
    return {
        "event": event.event,
        "at": event.at,
        "actor": event.actor,
        "kind": event.kind,
        "subject": event.subject,
        "payload": event.payload,
    }


def _as_kept(answer: Answer) -> Answer:
    """The answer of values that JSON has: a request sent again gets the same ones."""
    plain_answer: Answer = json.loads(json.dumps(answer, default=_plain))
    return plain_answer


def _plain(value: Any) -> str:
    if isinstance(value, Decimal):
        return f"{value:.2f}"
    if isinstance(value, dt.date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no form in an answer")


def _of(caller: Caller, once: Once) -> sa.ColumnElement[bool]:
    columns = ANSWERS.c
    return sa.and_(columns.user == caller.actor, columns.path == once.path, columns.key == once.key)


def _known(connection: sa.Connection, caller: Caller, once: Once) -> sa.Row[Any] | None:
    """What the same request got before, within a day."""
    mine = sa.select(ANSWERS).where(_of(caller, once), ANSWERS.c.at >= _forgotten_before())
    known = connection.execute(mine).first()
    if known is not None and known.body != once.body:
        raise Refused(
            422,
            "This Idempotency-Key was sent before with another body; use a new one for a new "
            "action. Nothing was recorded.",
        )
    return known


def _forgotten_before() -> str:
    return moment_text(now() - REMEMBERED)


def _remember(connection: sa.Connection, caller: Caller, once: Once, event: int) -> None:
    connection.execute(sa.delete(ANSWERS).where(ANSWERS.c.at < _forgotten_before()))
    connection.execute(
        sa.insert(ANSWERS).values(
            user=caller.actor,
            path=once.path,
            key=once.key,
            body=once.body,
            at=moment_text(now()),
            event=event,
        )
    )


def _complete(desk: Desk, caller: Caller, once: Once, answer: Answer) -> None:
    with desk.writing() as connection:
        connection.execute(sa.update(ANSWERS).where(_of(caller, once)).values(answer=answer))
