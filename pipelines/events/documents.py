"""Documents that people bring: PDF, pictures, workbooks and texts, kept under their SHA-256.

Belongs here: knowing them by their bytes, keeping them, checking them. Does not belong here: the
event that names one, or serving them.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import BinaryIO

from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.workspace.permissions import file_mode, private_umask

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TEXT = "text/plain"
_CHUNK = 1 << 20
# PDF: ISO 32000-1, 7.5.2; JPEG: ITU-T T.81, B.1.1.3 (SOI and the next marker); PNG: W3C PNG, 5.2.
_SIGNATURES = (
    (b"%PDF-", "application/pdf"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
)
_MACROS = "vbaproject.bin"  # of a workbook that is no XLSX (common practice, no source)
_MOST_NAME, _MOST_ENDING = 255, 16
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Document:
    """One document as it is told: its SHA-256, its name, its media type, its size in bytes."""

    sha256: str
    name: str
    type: str
    bytes: int

    def to_dict(self) -> dict[str, str | int]:
        """As an answer or an event tells it."""
        return {
            "sha256": self.sha256,
            "name": self.name,
            "type": self.type,
            "bytes": self.bytes,
        }


def folder_of(desk: Desk) -> Path:
    """Where documents lie, there or not."""
    return desk.workspace.desk / "documents"


def bare_name(given: str | None) -> str:
    """A file's name without its path, as any system writes paths, and without control signs.

    One that is too long keeps its ending, by which a system opens what it saved.
    """
    name = PureWindowsPath(PurePosixPath(given or "").name).name
    shown = "".join(sign for sign in name if sign.isprintable()).strip()
    shown = shown.encode("utf-8", "replace").decode("utf-8")
    if len(shown) > _MOST_NAME:
        ending = PurePosixPath(shown).suffix
        kept = ending if len(ending) <= _MOST_ENDING else ""
        shown = shown[: _MOST_NAME - len(kept)] + kept
    return shown or "document"


def keep_document(desk: Desk, source: BinaryIO, name: str | None) -> Document:
    """Writes a document to the disk; the event that names it comes after.

    Raises:
        Refused: 413 above the limit (read no further), 422 empty, 415 of another kind.
        OSError: the disk is full or cannot be written.
    """
    folder = folder_of(desk)
    readers = desk.settings.readable_by
    with private_umask(readers):
        folder.mkdir(parents=True, exist_ok=True)
    descriptor, part = tempfile.mkstemp(dir=folder, prefix=".part-")
    try:
        with open(descriptor, "wb") as file:
            size, sha256 = _copy(source, file, desk.settings.desk.max_document_mb)
            file.flush()
            os.fsync(file.fileno())
        kind = kind_of(Path(part))
        if kind is None:
            raise Refused(
                415,
                f'"{bare_name(name)}" is no PDF, JPEG, PNG, XLSX or UTF-8 text; save it as one '
                "of these.",
                [("document", "is of a kind that is not kept")],
            )
        os.chmod(part, file_mode(readers))
        os.replace(part, folder / sha256)
        _sync(folder)
    finally:
        Path(part).unlink(missing_ok=True)
    return Document(sha256, bare_name(name), kind, size)


def _copy(source: BinaryIO, file: BinaryIO, max_mb: int) -> tuple[int, str]:
    size, digest = 0, hashlib.sha256()
    while chunk := source.read(_CHUNK):
        size += len(chunk)
        if size > max_mb * 1_000_000:
            raise Refused(
                413,
                f"The document is larger than {max_mb} MB ([desk] max_document_mb); bring a "
                "smaller one.",
                [("document", "is too large")],
            )
        digest.update(chunk)
        file.write(chunk)
    if not size:
        raise Refused(422, "The document is empty; bring one that is not.", [("document", "empty")])
    return size, digest.hexdigest()


def kind_of(path: Path) -> str | None:
    """The media type of a file by its bytes; None for a kind that is not kept."""
    with path.open("rb") as file:
        head = file.read(16)
    for signature, kind in _SIGNATURES:
        if head.startswith(signature):
            return kind
    if head.startswith(b"PK\x03\x04"):
        return XLSX if _is_workbook(path) else None
    return TEXT if _is_text(path) else None


def _is_workbook(path: Path) -> bool:
    """Whether a ZIP file is a workbook of Office Open XML (ECMA-376, part 2) without macros."""
    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return False
    has_macros = any(name.lower().endswith(_MACROS) for name in names)
    return {"[Content_Types].xml", "xl/workbook.xml"} <= names and not has_macros


def _is_text(path: Path) -> bool:
    """Whether it is UTF-8 without NUL whose first sign that is no blank is not `<`."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return "\0" not in text and not text.lstrip().startswith("<")


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def document_path(desk: Desk, sha256: str) -> Path | None:
    """Where a document lies; None where there is none of that SHA-256."""
    if not _SHA256.fullmatch(sha256):
        return None
    path = folder_of(desk) / sha256
    return path if path.is_file() else None


def document_faults(desk: Desk, digests: Iterator[str] | set[str]) -> Iterator[str]:
    """A sentence for each document that is not what its name says, or that events miss."""
    folder = folder_of(desk)
    there = set()
    for path in sorted(folder.iterdir()) if folder.is_dir() else []:
        if not _SHA256.fullmatch(path.name):
            continue
        there.add(path.name)
        with path.open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != path.name:
                yield f"desk/documents/{path.name} is not as it was kept; restore it from a backup."
    for sha256 in sorted(set(digests) - there):
        yield f"desk/documents/{sha256} is named by an event and missing; restore it from a backup."
