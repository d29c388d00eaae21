"""The one moment at which new pages and a new store take the old ones' names.

Belongs here: the order of renames, and what is removed before and after. Does not belong here: what
is staged (`pipelines.steps.publish`), or how two folders change names
(`pipelines.store.publication`).
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from pipelines.errors import StorageError
from pipelines.store.publication import remove_folder, swap_folder
from pipelines.store.working_copy import STAGING, working_file
from pipelines.workspace.layout import Workspace


def staging(workspace: Workspace) -> Path:
    """Where new pages are laid beside the old ones."""
    return workspace.root / STAGING


def _old_pages(workspace: Workspace) -> Path:
    return workspace.published.with_name(workspace.published.name + ".old")


def remove_left_pages(workspace: Workspace) -> None:
    """Removes pages that were half made, or were taken out of their place, and what was spilled.

    Raises:
        StorageError: they cannot be removed, or new pages cannot be laid beside the old ones.
    """
    workspace.store.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(workspace.store / "spill", ignore_errors=True)
    remove_staged(workspace)
    for folder in (staging(workspace), _old_pages(workspace)):
        if folder.exists():  # its files would be published among the new ones
            raise StorageError(
                f"{folder} is left of an earlier refresh and cannot be removed. Remove it, or "
                "give this user write access to all that is in it, and refresh again; "
                "nothing was changed."
            )
    staging(workspace).mkdir()
    staging(workspace).rmdir()


def remove_staged(workspace: Workspace) -> None:
    """Removes the staging folder, and old pages where the new ones are in their place."""
    published, old = workspace.published, _old_pages(workspace)
    if old.exists() and not published.exists():
        os.replace(old, published)  # killed between the two renames of the slow exchange
    remove_folder(old)
    remove_folder(staging(workspace))


def swap_in(workspace: Workspace) -> None:
    """Puts the staged pages and the working copy of the store in the old ones' place.

    The pages go first. Where a kill falls between the two, the store is still the old one, so that
    the next refresh does the same work again and finds the same things new; the pages' manifest,
    which tells of no store that is there, makes sure that it does.

    Raises:
        StorageError, OSError: neither took the old one's place.
    """
    working = working_file(workspace)
    _sync(working)
    swap_folder(staging(workspace), workspace.published)
    try:
        os.replace(working, workspace.database)
    except OSError:
        _take_pages_back(workspace)
        raise


def _take_pages_back(workspace: Workspace) -> None:
    """The old pages stand again, or none where there were none."""
    published = workspace.published
    if not staging(workspace).exists():
        remove_folder(published)
        return
    try:
        swap_folder(staging(workspace), published)
    except OSError as error:
        raise StorageError(
            f"{published}: neither could the store be replaced nor these new pages be taken "
            f"back ({error.strerror}). Free some space, or give this user write access to the "
            "workspace, and refresh again: that makes both alike."
        ) from error


def _sync(path: Path) -> None:
    """Makes sure that the file is on the disk before it takes the old one's name."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
