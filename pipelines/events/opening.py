"""Opening a desk: its database made or brought up to date, old rulings taken over.

Belongs here: the order of it. Does not belong here: what an open desk does
(`pipelines.events.database`).
"""

from __future__ import annotations

from dataclasses import replace

from pipelines.events.connecting import connected, database_file
from pipelines.events.database import Desk
from pipelines.events.migrations import HEAD, migrate, version_of
from pipelines.events.takeover import old_rulings, take_over
from pipelines.workspace.layout import Workspace
from pipelines.workspace.permissions import private_umask
from pipelines.workspace.settings import Settings, load_settings


def is_there(workspace: Workspace, settings: Settings) -> bool:
    """Whether people have done something here; a database of a server is taken to be there."""
    return (
        bool(settings.desk.database)
        or database_file(workspace).exists()
        or old_rulings(workspace).is_file()
    )


def open_desk(workspace: Workspace, settings: Settings | None = None) -> Desk:
    """Opens the desk of a workspace; its database is made, or brought to this version, first.

    Raises:
        WorkspaceError: the server cannot be reached, or a newer tool made the database.
        StorageError: the file cannot be made or written.
    """
    settings = settings or load_settings(workspace)
    with private_umask(settings.readable_by):
        desk = connected(workspace, settings)
        with desk.reading() as connection:
            version = version_of(connection)
        if version != HEAD:
            with desk.writing() as connection:
                if version_of(connection) != HEAD:
                    migrate(connection)
        return replace(desk, damaged=tuple(take_over(desk)))
