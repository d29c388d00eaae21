"""What a run that was killed, or did not come to its end, left beside store and pages.

Belongs here: naming it, and removing it where nothing is to be made of it. Does not belong here:
going on from it (`pipelines.store.transaction`).
"""

from __future__ import annotations

import shutil
from pathlib import Path

from pipelines.store.archive.seals import unsealed_files
from pipelines.store.publication import remove_folder
from pipelines.workspace.layout import DATABASE_FILE, Workspace


def leftovers(workspace: Workspace) -> list[Path]:
    """Staged and old pages, working copies, half-written logs, spilled and unsealed files."""
    store, published = workspace.store, workspace.published
    paths = [
        *sorted(store.glob(f"{DATABASE_FILE}.new*")),
        *sorted(store.glob(f"{DATABASE_FILE}.recovered*")),
        *sorted(store.glob("*.csv.new")),
        store / "spill",
        *unsealed_files(workspace),
        published.with_name(f"{published.name}.new"),
        published.with_name(f"{published.name}.old"),
    ]
    return [path for path in paths if path.exists()]


def remove_leftovers(workspace: Workspace) -> None:
    """Removes all that is left, as far as this user may; the caller holds the refresh lock.

    Only where store and pages stand and are of the inputs: a working copy is not needed then, and
    old pages are not to be put back.
    """
    for path in leftovers(workspace):
        if path.parent == workspace.root:
            remove_folder(path)
        elif path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
