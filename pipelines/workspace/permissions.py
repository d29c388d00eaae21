"""Who may read what the tool writes: the modes of its folders and files.

Belongs here: the modes, setting them, and finding what is wider. Does not belong here: what the
folders hold, or exports, reference files and terms, which are the company's own.

Files get their mode in two ways, since DuckDB, polars, Dagster and Python each make them: whoever
writes does so under `private_umask`, so that a new file is never wider, and `restrict` sets what
was there before. On Windows, which has no such modes, nothing is done.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

Readers = Literal["group", "owner"]
READERS: tuple[Readers, ...] = ("group", "owner")
BACKUP_MODE = 0o600
_FOLDER = {"group": 0o750, "owner": 0o700}
_FILE = {"group": 0o640, "owner": 0o600}
_MASK = {"group": 0o027, "owner": 0o077}


def folder_mode(readers: Readers) -> int:
    """The mode of a folder, no wider than the process's umask gives."""
    return _FOLDER[readers] & ~_umask()


def file_mode(readers: Readers) -> int:
    """The mode of a file, no wider than the process's umask gives."""
    return _FILE[readers] & ~_umask()


@contextmanager
def private_umask(readers: Readers) -> Iterator[None]:
    """Files and folders made meanwhile, by whatever library, are for these readers at the most."""
    before = os.umask(0o077)
    os.umask(before | _MASK[readers])
    try:
        yield
    finally:
        os.umask(before)


def restrict_file(path: Path, readers: Readers) -> None:
    """Gives one file its mode, whatever it had before; what somebody else owns keeps its own."""
    if os.name == "posix" and not path.is_symlink():
        with contextlib.suppress(OSError):
            path.chmod(file_mode(readers))


def restrict(folders: Iterable[Path], readers: Readers) -> None:
    """Gives folders, and all that lies in them, their modes, whatever they had before.

    Links are passed over, and so is what somebody else owns, which `wider` names.
    """
    for path, mode in _wanted(folders, readers):
        with contextlib.suppress(OSError):
            path.chmod(mode)


def wider(folders: Iterable[Path], readers: Readers) -> Iterator[Path]:
    """What lies in folders, themselves included, and lets in more people than it should."""
    for path, mode in _wanted(folders, readers):
        with contextlib.suppress(OSError):
            if stat.S_IMODE(path.lstat().st_mode) & ~mode:
                yield path


def open_private(path: Path, flags: int) -> int:
    """Opens a file of the tool's own, which is no wider than its folder where it is new.

    For what is written outside of a run, where the settings may not even be readable.
    """
    return os.open(path, flags | os.O_CLOEXEC, path.parent.stat().st_mode & 0o640)


def _wanted(folders: Iterable[Path], readers: Readers) -> Iterator[tuple[Path, int]]:
    """Every folder and file whose mode is not as it should be, with the mode that should be."""
    if os.name != "posix":
        return
    modes = {True: folder_mode(readers), False: file_mode(readers)}
    waiting = [folder for folder in folders if folder.is_dir() and not folder.is_symlink()]
    for folder in waiting:
        if stat.S_IMODE(folder.lstat().st_mode) != modes[True]:
            yield folder, modes[True]
    while waiting:
        try:
            with os.scandir(waiting.pop()) as entries:
                children = list(entries)
        except OSError:
            continue
        for entry in children:
            is_folder = entry.is_dir(follow_symlinks=False)
            if not (is_folder or entry.is_file(follow_symlinks=False)):
                continue
            with contextlib.suppress(OSError):
                mode = stat.S_IMODE(entry.stat(follow_symlinks=False).st_mode)
                if mode != modes[is_folder]:
                    yield Path(entry.path), modes[is_folder]
            if is_folder:
                waiting.append(Path(entry.path))


def _umask() -> int:
    """The umask of this process; asking for it without `/proc` changes it for a moment."""
    try:
        with open("/proc/self/status", encoding="ascii", errors="replace") as status:
            return next(int(line.split()[1], 8) for line in status if line.startswith("Umask:"))
    except (OSError, StopIteration, ValueError):
        mask = os.umask(0o077)
        os.umask(mask)
        return mask
