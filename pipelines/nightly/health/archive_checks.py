"""The doctor's look into the archive of decisions: its chain, and the files that it names.

Belongs here: findings from the archive. Does not belong here: how they are found
(`pipelines.store.archive`).
"""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.errors import WorkspaceError
from pipelines.nightly.health.finding import Finding
from pipelines.store.archive.files import archive_faults, publications_named
from pipelines.store.archive.recovery import lacking_in_store, loss, unlisted_folders
from pipelines.workspace.layout import Workspace


def archive_findings(workspace: Workspace) -> Iterator[Finding]:
    """A fault for each file that is changed or missing and each break of the chain."""
    try:
        faults = archive_faults(workspace)
        missing = lacking_in_store(workspace) if workspace.database.exists() else []
    except WorkspaceError as error:
        yield Finding("fault", "archive", str(error), "Use the newer tool that wrote it.")
        return
    for folder in unlisted_folders(workspace):
        sentence = f"{folder} holds the files of an archive whose index was lost."
        way_out = "Keep it: with its index, out of a backup, it tells again what was decided."
        yield Finding("note", "archive", sentence, way_out)
    if missing:
        sentence = f"The store is older than its archive: it lacks {publications_named(missing)}."
        yield Finding("fault", "archive", sentence, loss(workspace).advice(workspace))
    for sentence, remedy in faults:
        yield Finding("fault", "archive", sentence, remedy)
