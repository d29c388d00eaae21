"""The files beside the exports that a publication rested on, each content kept once.

Belongs here: keeping them. Does not belong here: which they are (`pipelines.steps.archive`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.store.frames_for_sql import registered
from schemas.archive import ARCHIVED_FILES


@dataclass(frozen=True)
class KeptFile:
    """One file of terms, reference, mappings, settings or recordings, as the run read it."""

    kind: str
    path: str
    sha256: str
    content: bytes


def archive_kept_files(con: duckdb.DuckDBPyConnection, files: Sequence[KeptFile]) -> None:
    """Keeps the content of each file, once."""
    frame = pl.DataFrame(
        [[file.sha256, file.kind, file.path, file.content] for file in files],
        schema=ARCHIVED_FILES,
        orient="row",
    ).unique(["sha256", "kind", "path"], maintain_order=True)
    with registered(con, frame) as files_view:
        con.execute(
            f"insert into archived_files select f.* from {files_view} f "
            "anti join archived_files a using (sha256, kind, path)"
        )
