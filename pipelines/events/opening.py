"""Opening a desk: its database made or brought up to date, old rulings taken over.

Belongs here: the order of it. Does not belong here: what an open desk does
(`pipelines.events.database`).
"""

from __future__ import annotations

from dataclasses import replace

from pipelines.errors import StorageError
from pipelines.events.connecting import (
    connected,
    is_made,
    looked_at,
    may_only_be_read,
)
from pipelines.events.database import Desk
from pipelines.events.migrations import HEAD, migrate, version_of
from pipelines.events.takeover import old_rulings, take_over
from pipelines.workspace.layout import Workspace
from pipelines.workspace.permissions import private_umask
from pipelines.workspace.settings import Settings, load_settings


def is_there(workspace: Workspace, settings: Settings) -> bool:
    """Whether people have done something here; a database of a server is taken to be there."""
    return bool(settings.desk.database) or is_made(workspace) or old_rulings(workspace).is_file()


def open_desk(workspace: Workspace, settings: Settings | None = None) -> Desk:
    """Opens the desk of a workspace; its database is made, or brought to this version, first.

    One of this version that may only be read is opened to read: whoever then writes is told so.

    Raises:
        WorkspaceError: the server cannot be reached, or a newer tool made the database.
        StorageError: the file cannot be made or written.
    """
    settings = settings or load_settings(workspace)
    if may_only_be_read(workspace, settings) and (desk := _to_read(workspace, settings)):
        return desk
    with private_umask(settings.readable_by):
        desk = connected(workspace, settings)
        with desk.reading() as connection:
            version = version_of(connection)
        if version != HEAD:
            with desk.writing() as connection:
                if version_of(connection) != HEAD:
                    migrate(connection)
        return replace(desk, damaged=tuple(take_over(desk)))


def _to_read(workspace: Workspace, settings: Settings) -> Desk | None:
    """The desk as it is; None where it is of another version, or cannot even be read."""
    try:
        desk = looked_at(workspace, settings)
    except StorageError:
        return None
    if desk is None:
        return None
    with desk.reading() as connection:
        version = version_of(connection)
    if version == HEAD:
        return desk
    desk.close()
    return None
