"""Connections to the desk's database: the SQLite file below desk/, or a PostgreSQL server.

Belongs here: engines, and how a file is opened to act and to look. Does not belong here: what is
done with them (`pipelines.events.database`), migrations (`pipelines.events.opening`).
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from pipelines.errors import StorageError, WorkspaceError
from pipelines.events.database import Desk
from pipelines.events.migrations import version_of
from pipelines.workspace.layout import DESK_DATABASE, SETTINGS_FILE, Workspace
from pipelines.workspace.settings import Settings

_WAIT_SECONDS = 30  # for another who writes


def database_file(workspace: Workspace) -> Path:
    """Where the SQLite file is, there or not."""
    return workspace.desk / DESK_DATABASE


def is_made(workspace: Workspace) -> bool:
    """Whether the SQLite file is there; one without a byte is none, or all that is left of one."""
    file = database_file(workspace)
    return file.exists() and file.stat().st_size > 0


def connected(workspace: Workspace, settings: Settings) -> Desk:
    """The desk of a workspace with its database as it is; see `pipelines.events.opening`.

    Raises:
        WorkspaceError: the driver for PostgreSQL is not installed.
        StorageError: the folder desk/ cannot be made.
    """
    if settings.desk.database:
        try:
            engine = sa.create_engine(settings.desk.database, pool_pre_ping=True)
        except ImportError:
            raise WorkspaceError(
                f"[desk] database in {SETTINGS_FILE} names a PostgreSQL database, and this "
                "installation cannot speak to one; install limeledger[postgresql]."
            ) from None
        return Desk(workspace, settings, engine)
    try:
        workspace.desk.mkdir(exist_ok=True)
    except OSError as error:
        raise StorageError(
            f"{workspace.desk} cannot be made ({error.strerror or error}); correct that."
        ) from None
    return Desk(workspace, settings, _sqlite(database_file(workspace)))


def may_only_be_read(workspace: Workspace, settings: Settings) -> bool:
    """Whether the SQLite file is there and this user, or the disk, cannot write it.

    SQLite writes beside the file in this mode, so that the folder counts too.
    """
    file = database_file(workspace)
    if settings.desk.database or not file.is_file():
        return False
    return not (os.access(file, os.W_OK) and os.access(file.parent, os.W_OK))


def looked_at(workspace: Workspace, settings: Settings) -> Desk | None:
    """The desk as it is, to read from and to write nothing; None where there is none yet.

    Raises:
        WorkspaceError: the server cannot be reached, or a newer tool made the database.
    """
    if settings.desk.database:
        desk = connected(workspace, settings)
    else:
        path = database_file(workspace)
        if not path.exists():
            return None
        desk = Desk(workspace, settings, _sqlite_to_read(path))
    with desk.reading() as connection:
        version = version_of(connection)
    if version is None:
        desk.close()
        return None
    return desk


def _sqlite_to_read(path: Path) -> sa.Engine:
    """The file as it lies, without the files that SQLite would lay beside it."""
    log = path.with_name(f"{path.name}-wal")
    in_use = log.exists() and log.stat().st_size > 0
    how = "mode=ro" if in_use else "mode=ro&immutable=1"
    return sa.create_engine(
        "sqlite://",
        creator=lambda: sqlite3.connect(
            f"file:{quote(str(path))}?{how}", uri=True, check_same_thread=False
        ),
        poolclass=sa.pool.StaticPool,
    )


def _sqlite(path: Path) -> sa.Engine:
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)),
        connect_args={"timeout": _WAIT_SECONDS, "check_same_thread": False},
    )

    @sa.event.listens_for(engine, "connect")
    def _connected(connection: Any, _: object) -> None:
        connection.isolation_level = None  # the driver begins nothing by itself
        cursor = connection.cursor()
        cursor.execute("pragma journal_mode = wal")
        cursor.execute("pragma synchronous = full")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("begin immediate" if writes else "begin")

    return engine
