"""Puts a workspace into one archive: what cannot be computed again, and the store.

Belongs here: what goes into an archive, and writing it. Does not belong here: taking it out again
(`restore`), or waiting for a refresh to end (the command).

The archive is a ZIP file with a `limeledger-backup.json` that names every file with its size and
SHA-256. Pages are left out, since a refresh makes them from the rest.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import socket
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipelines.errors import StorageError, UsageError
from pipelines.workspace.clock import clock, stamp
from pipelines.workspace.layout import DESK_DATABASE, ENGINE_LOG, PARTS, Workspace
from pipelines.workspace.lock import LOCK_FILE
from pipelines.workspace.permissions import BACKUP_MODE

MANIFEST = "limeledger-backup.json"
FORMAT = 1
CHUNK = 1 << 20
# What a refresh is at work on, and what belongs to this machine: none of it is worth keeping.
PASSING = (LOCK_FILE, "spill", "dagster", PARTS, ENGINE_LOG)
_PASSING_SUFFIXES = (".new", ".wal", ".tmp")
_LEVEL = 3  # exports shrink to a fifth at three times the speed of the default level


@dataclass(frozen=True)
class Archived:
    """What a backup holds: its files, their bytes, and what was left out, a sentence each."""

    files: int
    size_bytes: int
    left_out: list[str]


def write_backup(workspace: Workspace, terms: str, target: Path) -> Archived:
    """Writes the archive under another name and gives it its own when it is whole.

    The caller holds the workspace's lock. Exports that arrive meanwhile are in it as they were
    when they were read; each is read once, so that its checksum is that of what is in the archive.

    Raises:
        UsageError: the target is there already, or lies in the workspace.
        StorageError: the archive cannot be written, or a file cannot be read.
    """
    root = Path(os.path.realpath(workspace.root))
    if target.exists():
        raise UsageError(f"{target} is there already; name a new file.")
    if not target.absolute().parent.is_dir():
        raise UsageError(f"{target.parent}: there is no such folder; make it, or name another.")
    if Path(os.path.realpath(target)).is_relative_to(root):
        raise UsageError(f"{target} lies in the workspace itself; name a file outside of it.")
    working = target.with_name(target.name + ".new")
    left_out: list[str] = []
    entries: list[dict[str, Any]] = []
    try:
        working.unlink(missing_ok=True)
        with open(_private(working), "wb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as archive:
                database = workspace.desk / DESK_DATABASE
                if database.is_file():
                    entries += _add_database(archive, database, target.parent)
                elif os.path.lexists(database):
                    left_out.append(f"desk/{DESK_DATABASE} is no file that can be read; left out.")
                for path in _files(workspace, terms, root, left_out):
                    entries.append(_add(archive, workspace.root, path))
                archive.writestr(MANIFEST, json.dumps(_manifest(workspace, entries), indent=1))
            file.flush()
            os.fsync(file.fileno())
        os.replace(working, target)
    except OSError as error:
        what = error.filename or target
        raise StorageError(
            f"{what}: the backup could not be written ({error.strerror or error}); free space on "
            "the disk or correct the permissions, then try again. No backup was made."
        ) from None
    finally:
        with contextlib.suppress(OSError):  # of a name that no file can have
            working.unlink(missing_ok=True)
    return Archived(len(entries), sum(one["size"] for one in entries), left_out)


def _add_database(
    archive: zipfile.ZipFile, database: Path, beside: Path
) -> Iterator[dict[str, Any]]:
    """Adds the desk's database as of one moment, also while people act.

    Documents may be in the archive that its events do not name yet, and never the other way round:
    it is copied first, into a folder of its own beside the archive.
    """
    with tempfile.TemporaryDirectory(dir=beside, prefix=".limeledger-") as folder:
        copy = Path(folder) / "desk" / DESK_DATABASE
        copy.parent.mkdir()
        # Where nothing can be laid beside it, and nothing waits there, it is read as it lies.
        log = database.with_name(f"{database.name}-wal")
        as_it_lies = not os.access(database.parent, os.W_OK) and not log.exists()
        how = "mode=ro&immutable=1" if as_it_lies else "mode=ro"
        try:
            with (
                closing(sqlite3.connect(f"file:{quote(str(database))}?{how}", uri=True)) as there,
                closing(sqlite3.connect(copy)) as here,
            ):
                there.backup(here)
        except sqlite3.Error as error:
            raise OSError(0, f"the desk's database cannot be copied: {error}", str(database)) from (
                None
            )
        yield _add(archive, Path(folder), copy)


def _private(path: Path) -> int:
    """Makes a file that its owner alone can read, from its first byte on: all is in it."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, BACKUP_MODE)


def _files(workspace: Workspace, terms: str, root: Path, left_out: list[str]) -> Iterator[Path]:
    """The files of the workspace in order; links that lead out of it are told of and left out."""
    folders = [
        workspace.exports,
        workspace.mappings,
        workspace.reference,
        workspace.terms(terms),
        workspace.letters,
        workspace.root / "desk",
        workspace.store,
    ]
    beside = [path for path in workspace.root.iterdir() if not path.name.startswith(".")]
    paths = [path for path in beside if path.is_file() and not _passes(path)]
    for folder in folders:
        if folder.is_symlink() and not folder.exists():
            shown = folder.relative_to(workspace.root).as_posix()
            left_out.append(f"{shown} is a link that leads nowhere; left out.")
        for above, names, files in os.walk(folder, onerror=_refuse):
            names[:] = [name for name in names if not _passes(Path(above, name))]
            paths += [Path(above, name) for name in files if not _passes(Path(above, name))]
            paths += [Path(above, name) for name in names if Path(above, name).is_symlink()]
    for path in sorted(set(paths)):
        shown = path.relative_to(workspace.root).as_posix()
        if not Path(os.path.realpath(path)).is_relative_to(root):
            left_out.append(f"{shown} is a link that leads out of the workspace; left out.")
        elif path.is_dir():
            left_out.append(f"{shown} is a link to a folder; left out, what it leads to is not.")
        elif not path.is_file():
            left_out.append(f"{shown} is no file that can be read; left out.")
        elif not _can_be_named(shown):
            left_out.append(f"{os.fsencode(shown)!r} has a name that is no UTF-8; left out.")
        else:
            yield path


def _refuse(error: OSError) -> None:
    """A folder that may not be looked into is no empty one; one that is not there is."""
    if not isinstance(error, FileNotFoundError):
        raise error


def _passes(path: Path) -> bool:
    if path.parent.name == "desk" and path.name.startswith(DESK_DATABASE):
        return True  # copied by SQLite's own means
    in_store = path.parent.name == "store"
    return in_store and (path.name in PASSING or path.name.endswith(_PASSING_SUFFIXES))


def _can_be_named(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _add(archive: zipfile.ZipFile, root: Path, path: Path) -> dict[str, Any]:
    """Adds one file, reading it once; returns its line of the manifest."""
    name = path.relative_to(root).as_posix()
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source, archive.open(name, "w", force_zip64=True) as sink:
        while chunk := source.read(CHUNK):
            digest.update(chunk)
            size += len(chunk)
            sink.write(chunk)
    return {"path": name, "size": size, "sha256": digest.hexdigest()}


def _manifest(workspace: Workspace, files: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "made_at": stamp(),
        "clock": clock(),
        "host": socket.gethostname(),
        "workspace": str(workspace.root),
        "files": files,
    }
