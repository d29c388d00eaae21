"""How often a sign-in may fail: five times a name and twenty times an address in fifteen minutes.

Belongs here: counting failures in the database, so that a restart forgets none. Does not belong
here: checking passwords (`passwords`).

A try is put down as failed before its password is looked at and taken back where it was right, so
that many tries at once do not pass the count together.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import sqlalchemy as sa

from pipelines.events.database import Desk
from pipelines.events.event import moment_text
from pipelines.events.tables import ATTEMPTS
from pipelines.workspace.clock import now

WINDOW = dt.timedelta(minutes=15)
MOST_OF_NAME = 5
MOST_OF_ADDRESS = 20


@dataclass(frozen=True)
class Try:
    """One try that may go on: the number under which it is put down as failed."""

    attempt: int


@dataclass(frozen=True)
class TooMany:
    """One try too many: after how many seconds the next may come."""

    seconds: int


def begin_try(desk: Desk, user: str, address: str) -> Try | TooMany:
    """Puts a try down, unless there were too many before it."""
    at = now()
    since = moment_text(at - WINDOW)
    with desk.writing() as connection:
        connection.execute(sa.delete(ATTEMPTS).where(ATTEMPTS.c.at <= since))
        free = [
            free_at
            for column, value, most in (
                (ATTEMPTS.c.user, user, MOST_OF_NAME),
                (ATTEMPTS.c.address, address, MOST_OF_ADDRESS),
            )
            if (free_at := _free_at(connection, column == value, most)) is not None
        ]
        if free:
            wait = max(free) + WINDOW - at
            return TooMany(max(1, math.ceil(wait.total_seconds())))
        put = sa.insert(ATTEMPTS).values(user=user, address=address, at=moment_text(at))
        made = connection.execute(put).inserted_primary_key
    return Try(int(made[0]) if made else 0)


def take_back(desk: Desk, tried: Try) -> None:
    """Forgets a try whose password was right."""
    with desk.writing() as connection:
        connection.execute(sa.delete(ATTEMPTS).where(ATTEMPTS.c.attempt == tried.attempt))


def _free_at(
    connection: sa.Connection, of_them: sa.ColumnElement[bool], most: int
) -> dt.datetime | None:
    """The failure whose age lets the next try in; None where there is room."""
    chosen = sa.select(ATTEMPTS.c.at).where(of_them).order_by(ATTEMPTS.c.at.desc()).limit(most)
    moments = [row.at for row in connection.execute(chosen)]
    return dt.datetime.fromisoformat(moments[-1]) if len(moments) == most else None
