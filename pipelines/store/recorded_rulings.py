"""Rulings that were recorded with the tool itself, beside those that arrive as exports.

Belongs here: the file they stand in. Does not belong here: what a ruling does
(`pipelines.coverage.standing`).

`exports/` is never changed by the tool, so its own rulings stand in store/rulings.csv, in the
form of the rulings feed; the DuckDB file can be deleted and made anew without losing them.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

import duckdb

from pipelines.store.database import query_frame
from pipelines.workspace.kept_rows import add_rows
from pipelines.workspace.layout import Workspace
from schemas.columns import column_names
from schemas.feeds import Rulings

FILE = "rulings.csv"
# How the file is cited, as a path below exports/ like every other.
CITED_AS = f"../store/{FILE}"


def recorded_rulings(workspace: Workspace) -> Path:
    """Where recorded rulings stand; the file may not be there yet."""
    return workspace.store / FILE


def record_ruling(workspace: Workspace, row: Mapping[str, str]) -> None:
    """Appends one ruling and makes sure that it is on the disk.

    Raises:
        OSError: the disk is full or cannot be written; nothing of the ruling was recorded.
    """
    add_rows(recorded_rulings(workspace), column_names(Rulings), [row])


def recorded_since_refresh(
    workspace: Workspace, con: duckdb.DuckDBPyConnection
) -> list[dict[str, str]]:
    """The rulings that were recorded after the store's last refresh, as they stand in the file."""
    path = recorded_rulings(workspace)
    if not path.is_file():
        return []
    lines = query_frame(con, "select source_line from rulings where source_file = ?", [CITED_AS])
    known_to = max(lines["source_line"], default=1)
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        before, found = 1, []
        for row in reader:
            if before + 1 > known_to:
                found.append(dict(row))
            before = reader.line_num
    return found
