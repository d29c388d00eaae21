"""Puts what was made for people in its place: files under a second name, the published folder.

Belongs here: links, removal, and the swap of the published folder. Does not belong here: what is in
it: tables (`table_files`) and pages (`dashboards`).
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
from pathlib import Path


def take_file(old: Path, new: Path) -> None:
    """The same file under a second name, or a copy where the disk has no such links.

    Nobody may write into it afterwards, but put another file in the place of its name.
    """
    new.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(old, new)
    except OSError:
        shutil.copy2(old, new)


def remove_folder(folder: Path) -> None:
    """Removes a folder with all that is in it, also what its owner has made read-only.

    Published pages may have been protected by somebody, who would else keep the old ones in the
    way of the next. What somebody else owns stays; the caller looks whether anything did.
    """
    _make_writable(folder)
    for above, names, _ in os.walk(folder):  # goes into each of these only after we had it
        for name in names:
            _make_writable(Path(above, name))
    shutil.rmtree(folder, ignore_errors=True)


def _make_writable(folder: Path) -> None:
    if not folder.is_symlink():
        with contextlib.suppress(OSError):
            folder.chmod(0o700)


def swap_folder(new: Path, current: Path) -> None:
    """Puts `new` where `current` is, in one step where the system can exchange two names.

    A reader that opens a page sees the old folder or the new one. Afterwards the old folder, where
    there was one, stands under the name of `new`, so that the same call undoes the swap.
    """
    if not current.exists():
        os.replace(new, current)
    elif not _exchange(new, current):
        old = current.with_name(current.name + ".old")
        remove_folder(old)
        os.replace(current, old)
        os.replace(new, current)
        os.replace(old, new)


def _exchange(one: Path, other: Path) -> bool:
    """Exchanges two names atomically (Linux renameat2); False where that is not to be had."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError):
        return False
    at_fdcwd, rename_exchange = -100, 2
    done = renameat2(
        at_fdcwd, os.fsencode(one), at_fdcwd, os.fsencode(other), ctypes.c_uint(rename_exchange)
    )
    return bool(done == 0)
