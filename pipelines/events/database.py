"""The desk's database: opening it, reading and appending events.

Belongs here: SQLite and PostgreSQL, transactions, the one way to append. Does not belong here:
what may be done (`pipelines.actions`), what events add up to (`pipelines.events.states`).

Whoever appends holds the database's one write lock from its first look on, so that a number, a
version and the chain are what they were when it looked.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from pipelines.errors import StorageError, WorkspaceError
from pipelines.events.event import FIRST, Event, Recorded, digest_of, moment_text
from pipelines.events.letter_table import FOLLOWED, follow
from pipelines.events.tables import EVENTS
from pipelines.workspace.clock import now
from pipelines.workspace.layout import DESK_DATABASE, SETTINGS_FILE, Workspace
from pipelines.workspace.settings import Settings

_LOCK = 0x6C696D65  # PostgreSQL's advisory lock of those who migrate and append


@dataclass(frozen=True)
class Desk:
    """An open desk: its workspace, its settings and its database.

    damaged: a sentence for each line that could not be taken over from an earlier version just now.
    """

    workspace: Workspace
    settings: Settings
    engine: sa.Engine
    damaged: tuple[str, ...] = ()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection whose reads are all of one moment."""
        with (
            faults_as_sentences(self.settings),
            self.engine.connect() as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """The one transaction that may write now; committed to the disk at its end."""
        with faults_as_sentences(self.settings), self.engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
                yield connection

    def append(self, connection: sa.Connection, event: Event) -> int:
        """Appends one event within a transaction of `writing`; its number."""
        last = connection.execute(
            sa.select(EVENTS.c.event, EVENTS.c.digest).order_by(EVENTS.c.event.desc()).limit(1)
        ).first()
        row: dict[str, Any] = {
            "event": 1 + (last.event if last else 0),
            "at": moment_text(event.at or now()),
            "as_of": event.as_of,
            "actor": event.actor,
            "via": event.via,
            "os_user": event.os_user,
            "kind": event.kind,
            "claim": event.claim,
            "subject": event.subject,
            "payload": dict(event.payload),
            "previous": last.digest if last else FIRST,
        }
        row["digest"] = digest_of(row)
        connection.execute(sa.insert(EVENTS), [row])
        if event.kind in FOLLOWED:
            follow(connection, Recorded(**row))
        return int(row["event"])

    def events(
        self,
        connection: sa.Connection,
        *,
        claim: str | None = None,
        actor: str | None = None,
        kinds: Sequence[str] | None = None,
        after: int = 0,
        before: int | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Recorded]:
        """Events in their order, or the newest first."""
        chosen = sa.select(EVENTS).where(EVENTS.c.event > after)
        if before is not None:
            chosen = chosen.where(EVENTS.c.event < before)
        if claim is not None:
            chosen = chosen.where(EVENTS.c.claim == claim)
        if actor is not None:
            chosen = chosen.where(EVENTS.c.actor == actor)
        if kinds is not None:
            chosen = chosen.where(EVENTS.c.kind.in_(kinds))
        order = EVENTS.c.event.desc() if newest_first else EVENTS.c.event
        chosen = chosen.order_by(order).limit(limit)
        return [Recorded(**row) for row in connection.execute(chosen).mappings()]

    def event(self, connection: sa.Connection, number: int) -> Recorded | None:
        """One event."""
        row = connection.execute(sa.select(EVENTS).where(EVENTS.c.event == number)).mappings()
        return next((Recorded(**columns) for columns in row), None)

    def version(self, connection: sa.Connection, claim: str) -> int:
        """The number of a claim's last event; 0 without."""
        last = sa.select(sa.func.max(EVENTS.c.event)).where(EVENTS.c.claim == claim)
        return int(connection.execute(last).scalar() or 0)

    def last_event(self, connection: sa.Connection) -> int:
        """The number of the last event of all; 0 without."""
        return int(connection.execute(sa.select(sa.func.max(EVENTS.c.event))).scalar() or 0)

    def today(self, as_of: dt.date | None = None) -> dt.date:
        """The desk's day: the one given, else today in the workspace's time zone."""
        return as_of or now().astimezone(self.settings.zone).date()

    def close(self) -> None:
        """Closes every connection."""
        self.engine.dispose()


@contextmanager
def faults_as_sentences(settings: Settings) -> Iterator[None]:
    """Turns what the database cannot do into a sentence; faults of what was asked pass."""
    try:
        yield
    except (DBAPIError, sqlite3.DatabaseError) as error:
        fault = error.orig if isinstance(error, DBAPIError) else error
        reason = " ".join(str(fault).split())
        if type(fault) is sqlite3.DatabaseError:  # no database at all, or one with torn pages
            raise StorageError(
                f"The desk's database desk/{DESK_DATABASE} is damaged ({reason}); restore desk/ "
                "from a backup. Nothing was written."
            ) from None
        if not isinstance(error, sa.exc.OperationalError | sqlite3.OperationalError):
            raise
        if settings.desk.database:
            raise WorkspaceError(
                f"The desk's database, [desk] database in {SETTINGS_FILE}, cannot be reached "
                f"({reason}); start it, or correct the address. Nothing was written."
            ) from None
        raise StorageError(
            f"The desk's database desk/{DESK_DATABASE} cannot be used ({reason}); correct that. "
            "What was acknowledged before is in it."
        ) from None
