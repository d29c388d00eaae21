"""Writes the pages of help/ into a workspace, where they are not there or no longer true.

Belongs here: files. Does not belong here: their texts (`pipelines.assist.help`).
"""

from __future__ import annotations

from pathlib import Path

from pipelines.assist.help import help_pages
from pipelines.errors import StorageError


def renew_help(folder: Path) -> list[Path]:
    """Brings help/ up to date; returns the pages that were written.

    Raises:
        StorageError: they cannot be written.
    """
    written = []
    try:
        for name, text in help_pages().items():
            path = folder / name
            if path.is_file() and path.read_bytes() == text.encode("utf-8"):
                continue
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
            written.append(path)
    except OSError as error:
        raise StorageError(
            f"{folder}/help cannot be written ({error.strerror or error}); free space on the disk "
            "or give write permission, then try again."
        ) from None
    return written
