"""The doctor's look at who may read and write what the tool writes.

Belongs here: folders and files that a refresh needs, and those that are open to too many. Does not
belong here: what they hold (`store_checks`, `archive_checks`).
"""

from __future__ import annotations

import os
from collections.abc import Iterator

from pipelines.nightly.health.finding import Finding
from pipelines.store.archive.chain import INDEX, archive_folder
from pipelines.store.run_log import FILE as RUN_LOG
from pipelines.workspace.layout import DESK_DATABASE, Workspace
from pipelines.workspace.lock import LOCK_FILE
from pipelines.workspace.permissions import wider
from pipelines.workspace.settings import Settings


def permission_findings(workspace: Workspace) -> Iterator[Finding]:
    """What this user would have to write, and may not."""
    archive = archive_folder(workspace)
    own = (workspace.store, archive, workspace.published, workspace.desk)
    for folder in (workspace.root, *own):
        if folder.exists() and not folder.is_dir():
            yield Finding(
                "fault", "permissions", f"{folder} is no folder.", "Move it away and refresh."
            )
        elif folder.exists() and not os.access(folder, os.W_OK | os.X_OK):
            # A refresh puts a new folder in the place of the pages; only a note needs theirs.
            replaced = folder == workspace.published
            yield Finding(
                "warning" if replaced else "fault",
                "permissions",
                f"{folder} cannot be written by this user.",
                "Give the user of the refresh write access to it"
                + (", or a failed night cannot leave its note there." if replaced else "."),
            )
    files = (workspace.store / RUN_LOG, workspace.store / LOCK_FILE, archive / INDEX)
    for file in (*files, workspace.desk / DESK_DATABASE):
        if file.exists() and not file.is_file():
            yield Finding("fault", "permissions", f"{file} is no file.", "Move it away.")
        elif file.exists() and not os.access(file, os.R_OK | os.W_OK):
            sentence = f"{file} cannot be read and written by this user."
            way_out = "Give the user of the refresh access to it."
            yield Finding("fault", "permissions", sentence, way_out)


def reader_findings(workspace: Workspace, settings: Settings) -> Iterator[Finding]:
    """What lets in more people than the settings say."""
    too_wide = list(wider(workspace.own_folders, settings.readable_by))
    if too_wide:
        names = ", ".join(str(path.relative_to(workspace.root)) for path in too_wide[:3])
        more = f" and {len(too_wide) - 3:,} more" if len(too_wide) > 3 else ""
        yield Finding(
            "warning",
            "permissions",
            f"{names}{more} can be read by more people than readable_by in limeledger.toml says "
            f"({settings.readable_by}).",
            "Refresh: it gives everything of its own the right mode. What it cannot change belongs "
            "to another user; give it to the user of the refresh.",
        )
