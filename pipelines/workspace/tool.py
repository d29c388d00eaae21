"""Which tool made a store: a hash over our own source, so that an upgrade does its work again.

Belongs here: the hash. Does not belong here: what is done where it differs
(`pipelines.store.transaction`, `ingest`).
"""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path

_ROOT = Path(__file__).parents[2]
# What decides how a file is read: changed code means that stored rows are not trusted.
READING = (
    "pipelines/exports",
    "pipelines/records",
    "pipelines/steps/file_parts.py",
    "pipelines/steps/joined_parts.py",
    "pipelines/steps/read_part.py",
    "pipelines/steps/workbook_parts.py",
    "schemas",
)
ALL = ("pipelines", "schemas", "dashboards")


@functools.cache
def source_hash(parts: tuple[str, ...] = ALL) -> str:
    """One hash over the bytes of all source files of these folders and files of ours."""
    digest = hashlib.sha256()
    for path in sorted(file for part in parts for file in _files(_ROOT / part)):
        digest.update(f"{path.relative_to(_ROOT).as_posix()}\0".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _files(part: Path) -> list[Path]:
    if part.is_file():
        return [part]
    return [
        path
        for path in part.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".png"
    ]
