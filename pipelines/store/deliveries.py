"""Which files lie in the exports folder, and which of them the store does not know yet.

Belongs here: a file's hash, what its reading depends on, and what is new of it. Does not belong
here: reading it (`pipelines.steps.ingest`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import polars as pl

from pipelines.exports.delivery import ExportFile, find_exports
from pipelines.records.mapping import Mapping
from pipelines.store.file_hashes import hash_of
from pipelines.store.inputs import Inputs
from pipelines.store.recorded_rulings import CITED_AS, recorded_rulings
from pipelines.store.tool import READING, source_hash
from schemas.codes import FEEDS

EXPORT_FILES = pl.Schema(
    {
        "feed": pl.String(),
        "file": pl.String(),
        "sha256": pl.String(),
        "size_bytes": pl.Int64(),
        "read_by": pl.String(),
        "named_date": pl.Date(),
        "rows_read": pl.Int64(),
        "is_whole": pl.Boolean(),
        "encoding": pl.String(),
        "delimiter": pl.String(),
        "headers": pl.List(pl.String),
    }
)
# One row is one file, or one sheet of a workbook, as one mapping reads it.
FILE_PARTS = pl.Schema(
    {
        "feed": pl.String(),
        "mapping": pl.String(),
        "file": pl.String(),
        "sheet": pl.String(),
        "place": pl.Int64(),
        "named_date": pl.Date(),
        "header_line": pl.Int64(),
        "rows_read": pl.Int64(),
        "rows_split": pl.Int64(),
        "left_out": pl.Int64(),
        "is_whole": pl.Boolean(),
        "encoding": pl.String(),
        "delimiter": pl.String(),
        "headers": pl.List(pl.String),
    }
)
NEWS = ("new", "changed", "unchanged")


@dataclass(frozen=True)
class Delivered:
    """One file that arrived: where it is, its hash, and by which mappings it is read for a feed."""

    found: ExportFile
    sha256: str
    read_by: str
    serving: dict[str, list[Mapping]]


def delivered(inputs: Inputs) -> list[Delivered]:
    """Every file under exports/, and the rulings recorded with the tool itself."""
    files = find_exports(inputs.workspace.root, FEEDS, inputs.mappings.names)
    recorded = recorded_rulings(inputs.workspace)
    if recorded.is_file():
        files.append(ExportFile(CITED_AS, recorded, "rulings", None, recorded.stat().st_size))
    return [_delivered(inputs, file) for file in files]


def _delivered(inputs: Inputs, file: ExportFile) -> Delivered:
    # Rulings that the tool wrote are in the feed's own form, whatever the company's mapping says.
    serving = (
        {"rulings": [Mapping.plain("rulings")]}
        if file.path == CITED_AS
        else inputs.mappings.serving(file.path, file.feed)
    )
    if not serving and file.refusal is None:
        # A mapping names it, but none holds on its day.
        told = (
            f"{file.path} is named by mappings that do not hold for the day in its name; correct "
            "valid_from or valid_until in one of them."
        )
        file = replace(file, refusal=("no_feed", told))
    sha256 = hash_of(file.absolute) if _is_read(file) else ""
    return Delivered(file, sha256, _read_by(inputs, file, serving), serving)


def _is_read(file: ExportFile) -> bool:
    """Whether a file is opened: also one of no feed, to count its rows."""
    return file.refusal is None or file.refusal[0] == "no_feed"


def _read_by(inputs: Inputs, file: ExportFile, serving: dict[str, list[Mapping]]) -> str:
    """What the reading of a file depends on beside its bytes."""
    settings = inputs.settings
    told = (
        source_hash(READING),
        *(mapping.fingerprint for mappings in serving.values() for mapping in mappings),
        settings.timezone,
        settings.max_file_mb,
        settings.max_field_chars,
        settings.max_columns,
        settings.max_cells,
        settings.max_workbook_mb,
        settings.max_workbook_seconds,
        file.refusal[0] if file.refusal else "",
    )
    return "/".join(map(str, told))


def news_of(files: list[Delivered], known: pl.DataFrame) -> dict[str, str]:
    """For each file: new, changed (in bytes, or in how it is read) or unchanged."""
    before = dict(
        zip(known["file"], zip(known["sha256"], known["read_by"], strict=True), strict=True)
    )
    return {
        file.found.path: "new"
        if file.found.path not in before
        else "unchanged"
        if before[file.found.path] == (file.sha256, file.read_by)
        else "changed"
        for file in files
    }
