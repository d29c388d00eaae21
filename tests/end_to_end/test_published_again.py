"""What a night takes over from the pages of the last one is what it would have made itself."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from pathlib import Path

MOMENT = re.compile(rb"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?")
RUN = re.compile(rb"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# What the moment of a refresh, or its run, stands in, packed or hashed.
WITH_MOMENTS = (
    "decision_history.parquet",
    "table_states.parquet",
    "publications.parquet",
    "claims.json",
)


def _files(workspace: Path) -> dict[str, bytes]:
    folder = workspace / "published"
    return {
        str(path.relative_to(folder)): RUN.sub(b"", MOMENT.sub(b"", path.read_bytes()))
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in WITH_MOMENTS
    }


def _next(day: str) -> str:
    return (dt.date.fromisoformat(day) + dt.timedelta(days=1)).isoformat()


def test_a_night_publishes_what_it_would_without_the_last_pages(
    workspace, tmp_path, run, day, no_figures
):
    """Byte for byte; what did not change is the old file under its new name."""
    alone = tmp_path / "alone"
    shutil.copytree(workspace, alone)
    shutil.rmtree(alone / "published")
    same = [
        workspace / "published" / name
        for name in ("assets/vega-bundle.js", "data/set_aside.csv", "data/set_aside.parquet")
    ]
    before = [(file.stat().st_ino, file.stat().st_mtime_ns) for file in same]
    pages = {file.name: file.stat().st_ino for file in (workspace / "published/claims").iterdir()}
    for folder in (workspace, alone):
        assert run("refresh", folder, "--as-of", _next(day)).code == 1
    assert [(file.stat().st_ino, file.stat().st_mtime_ns) for file in same] == before
    assert _files(workspace) == _files(alone)
    kept = [name for name, at in pages.items() if _inode(workspace, name) == at]
    assert len(kept) > len(pages) / 2  # of the others something else changed than the day


def _inode(workspace: Path, page: str) -> int | None:
    file = workspace / "published/claims" / page
    return file.stat().st_ino if file.exists() else None


def test_a_file_that_was_changed_is_made_anew(workspace, run, day, no_figures):
    """A library that was cut off does not stay so."""
    library = workspace / "published/assets/vega-bundle.js"
    whole = library.read_bytes()
    library.write_bytes(whole[:1000])
    assert run("refresh", workspace, "--as-of", _next(day)).code == 1
    assert library.read_bytes() == whole
