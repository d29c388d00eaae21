"""Takes a workspace out of an archive that `backup` wrote, all of it or nothing.

Belongs here: judging an archive and putting its files in place. Does not belong here: making one.

An archive is a stranger's until it is judged: every name must stay inside the folder, every file
must be in the manifest with its size and checksum, and all of that is checked on a copy beside the
folder, which takes the folder's name at the end.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from pipelines.errors import NotFoundError, StorageError, UsageError
from pipelines.workspace.backup import CHUNK, FORMAT, MANIFEST
from pipelines.workspace.layout import refuse_name
from pipelines.workspace.permissions import restrict

MOST_FILES = 1_000_000
MOST_MANIFEST_BYTES = 500_000_000
# What reading a damaged archive raises: zlib's own where what is packed cannot be unpacked.
_DAMAGE = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    NotImplementedError,
    EOFError,
)


@dataclass(frozen=True)
class Restored:
    """What was put in place: when and where the backup was made, its files and bytes."""

    made_at: str
    host: str
    files: int
    size_bytes: int


def restore_backup(archive: Path, folder: Path) -> Restored:
    """Checks an archive and puts its files into a new or empty folder.

    Raises:
        NotFoundError: there is no such archive.
        UsageError: it is no backup, it is damaged or unsafe, or the folder holds something or
            cannot be replaced.
        WorkspaceError: no workspace can have the folder's name.
        StorageError: the disk is full or cannot be written.
    """
    if not archive.is_file():
        raise NotFoundError(f"{archive}: there is no such file; check the path.")
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise UsageError(f"{folder} is no folder; name a folder that is new or empty.")
    if folder.exists() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty; name a folder that is new or empty.")
    if folder.exists() and (os.path.ismount(folder) or os.path.samefile(folder, os.curdir)):
        raise UsageError(
            f"Nothing can be put in the place of {folder}, which is the current folder or a mount "
            f"of its own; name a new folder, such as {folder / 'workspace'}."
        )
    refuse_name(folder)
    try:
        with zipfile.ZipFile(archive) as opened:
            return _restore(opened, archive, folder)
    except _DAMAGE as error:
        raise UsageError(_damaged(archive, str(error))) from None
    except OSError as error:
        raise StorageError(
            f"{error.filename or folder}: the backup could not be restored "
            f"({error.strerror or error}); free space or give write permission, then try again. "
            "Nothing was put in place."
        ) from None


def _restore(opened: zipfile.ZipFile, archive: Path, folder: Path) -> Restored:
    manifest = _manifest(opened, archive)
    files = _checked(opened, manifest["files"], archive)
    needed = sum(size for size, _ in files.values())
    parent = folder.absolute().parent
    parent.mkdir(parents=True, exist_ok=True)
    if needed > shutil.disk_usage(parent).free:
        raise StorageError(
            f"{folder}: the backup needs {needed / 1e6:,.0f} MB and the disk has less; free some "
            "space or name another folder. Nothing was put in place."
        )
    working = Path(tempfile.mkdtemp(prefix=".limeledger-", dir=parent))
    try:
        for name, (size, sha256) in files.items():
            _take_out(opened, archive, name, working / name, size, sha256)
        for inside in ("exports", "mappings", "reference"):
            (working / inside).mkdir(exist_ok=True)  # an empty one is not in the archive
        restrict([working / "store", working / "desk"], "owner")  # the next refresh lets in others
        working.chmod(0o755)
        os.replace(working, folder)
    finally:
        shutil.rmtree(working, ignore_errors=True)
    return Restored(
        str(manifest.get("made_at", "")), str(manifest.get("host", "")), len(files), needed
    )


def _manifest(opened: zipfile.ZipFile, archive: Path) -> dict[str, Any]:
    try:
        entry = opened.getinfo(MANIFEST)
        if entry.file_size > MOST_MANIFEST_BYTES:
            raise ValueError
        manifest = json.loads(opened.read(entry))
        if not isinstance(manifest, dict) or not isinstance(manifest.get("files"), list):
            raise ValueError
    except (KeyError, ValueError, RecursionError):
        raise UsageError(
            f"{archive} is no backup of a workspace; name a file that `limeledger backup` wrote."
        ) from None
    if manifest.get("format") != FORMAT:
        raise UsageError(
            f"{archive} is in form {manifest.get('format')!r}, and this version reads form "
            f"{FORMAT}; restore it with the version that wrote it."
        )
    return manifest


def _checked(
    opened: zipfile.ZipFile, listed: list[Any], archive: Path
) -> dict[str, tuple[int, str]]:
    """Size and checksum of every file, once names, kinds and sizes are as they must be."""
    entries = {entry.filename: entry for entry in opened.infolist()}
    names = [entry.filename for entry in opened.infolist() if entry.filename != MANIFEST]
    if len(entries) != len(names) + 1 or len(names) > MOST_FILES:
        raise UsageError(_damaged(archive, "a name is in it twice, or there are too many"))
    files: dict[str, tuple[int, str]] = {}
    for line in listed:
        try:
            name, size, sha256 = line["path"], line["size"], line["sha256"]
            entry = entries[name]
        except (KeyError, TypeError):
            raise UsageError(_damaged(archive, "a file that it names is not in it")) from None
        if not _stays_inside(name):
            raise UsageError(
                f"{archive}: the name {name!r} leads out of the folder; this is no backup that "
                "`limeledger backup` wrote. Nothing was put in place."
            )
        kind = (entry.external_attr >> 16) & 0o170000
        if entry.is_dir() or kind not in (0, 0o100000) or entry.file_size != size:
            raise UsageError(_damaged(archive, f"{name} is not the file that it should be"))
        files[name] = (size, str(sha256))
    if set(files) != set(names):
        raise UsageError(_damaged(archive, "it holds files that it does not name"))
    folded = {name.casefold() for name in files}
    inner = {str(above) for name in files for above in PurePosixPath(name).parents}
    if len(folded) != len(files) or inner & set(files):
        raise UsageError(_damaged(archive, "two of its names stand for one file"))
    return files


def _stays_inside(name: Any) -> bool:
    """Whether a name is a plain path below the folder, on any system."""
    if not isinstance(name, str) or not name or "\\" in name or "\0" in name or ":" in name:
        return False
    parts = name.split("/")
    return all(part not in ("", ".", "..") for part in parts)


def _take_out(
    opened: zipfile.ZipFile, archive: Path, name: str, target: Path, size: int, sha256: str
) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, taken = hashlib.sha256(), 0
    with opened.open(name) as source, target.open("xb") as sink:
        while chunk := source.read(CHUNK):
            taken += len(chunk)
            if taken > size:
                break  # more than it said: whoever made this wants to fill the disk
            digest.update(chunk)
            sink.write(chunk)
        sink.flush()
        os.fsync(sink.fileno())
    if taken != size or digest.hexdigest() != sha256:
        raise UsageError(_damaged(archive, f"the checksum of {name} is not that of the backup"))


def _damaged(archive: Path, what: str) -> str:
    return (
        f"{archive} is damaged or was changed ({what}); use another backup. "
        "Nothing was put in place."
    )
