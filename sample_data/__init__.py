"""The sample workspace of the fictional maker Tarnfell, and the generator that made it.

Belongs here: access to the committed files. Does not belong here: what they hold (`generate`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

AS_OF = dt.date(2026, 9, 30)  # the day on which the sample's exports end


def workspace_files() -> dict[str, Traversable]:
    """Every file of the sample workspace: its path below the workspace, and its content."""
    return dict(sorted(files_below(files("sample_data") / "workspace", "")))


def lay_out(folder: Path) -> None:
    """Writes the sample workspace into `folder`, which may not exist yet."""
    for path, entry in workspace_files().items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(entry.read_bytes())


def files_below(folder: Traversable, prefix: str) -> Iterator[tuple[str, Traversable]]:
    """Every file below a folder with its path."""
    for entry in folder.iterdir():
        path = f"{prefix}{entry.name}"
        if entry.is_dir():
            yield from files_below(entry, f"{path}/")
        else:
            yield path, entry
