"""Rulings that were recorded with the tool itself, beside those that arrive as exports.

Belongs here: the file they stand in. Does not belong here: what a ruling does
(`pipelines.coverage.standing`).

`exports/` is never changed by the tool, so its own rulings stand in store/rulings.csv, in the
form of the rulings feed; the DuckDB file can be made anew without losing them. The file is read
as every export is, so that what a refresh will make of it is what recording sees.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import duckdb

from pipelines.exports.text_rows import read_rows
from pipelines.records.headers import match_headers
from pipelines.records.mapping import Mapping as FeedMapping
from pipelines.store.database import query_frame
from pipelines.workspace.append_log import Contents, append_rows
from pipelines.workspace.layout import Workspace
from schemas.columns import column_names
from schemas.feeds import Rulings

FEED = "rulings"
FILE = f"{FEED}.csv"
# How the file is cited, as a path below exports/ like every other.
CITED_AS = f"../store/{FILE}"


def recorded_rulings(workspace: Workspace) -> Path:
    """Where recorded rulings stand; the file may not be there yet."""
    return workspace.store / FILE


def record_ruling(workspace: Workspace, row: Mapping[str, str]) -> list[str]:
    """Appends one ruling, and makes sure that it is on the disk and reads as it was given.

    Returns:
        A sentence for each line of the file that cannot be read and so counts for nothing.

    Raises:
        UsageError: a text holds a character that no text file can.
        WorkspaceError: the file is damaged so that the ruling would not be read back.
        OSError: the disk is full or cannot be written; nothing of the ruling was recorded.
    """
    path = recorded_rulings(workspace)
    return list(append_rows(path, column_names(Rulings), [row], read_recorded).faults)


def read_recorded(path: Path) -> Contents:
    """The rulings in a file, by the rules of feeds, and what cannot be read of it, by line."""
    reading = read_rows(path, known_names=column_names(Rulings))
    places = match_headers(FEED, reading.header, FeedMapping.plain(FEED)).places
    faults = [
        f"store/{FILE} line {line}: {reason}"
        for line, reason in reading.faults.select("line", "reason").iter_rows()
    ]
    if reading.fault is not None:
        faults.append(f"store/{FILE} line {reading.fault.line}: {reading.fault.sentence}")
    chosen = ["line", *(f"c{place}" for place in places.values())]
    records = [
        (line, dict(zip(places, values, strict=True)))
        for line, *values in reading.rows.select(chosen).iter_rows()
    ]
    encoding = reading.encoding.removesuffix("-sig") or "utf-8"
    return Contents(
        places, len(reading.header), records, reading.delimiter or ",", encoding, faults
    )


def recorded_since_refresh(
    workspace: Workspace, con: duckdb.DuckDBPyConnection
) -> list[dict[str, str]]:
    """The rulings that were recorded after the store's last refresh, as they stand in the file."""
    path = recorded_rulings(workspace)
    if not path.is_file():
        return []
    lines = query_frame(con, "select source_line from rulings where source_file = ?", [CITED_AS])
    known_to = max(lines["source_line"], default=1)
    names = column_names(Rulings)
    return [
        {name: row.get(name, "") for name in names}
        for line, row in read_recorded(path).records
        if line > known_to
    ]
