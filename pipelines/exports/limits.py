"""What one file may be at most, and the sentences for one that is more.

Belongs here: the limits of reading and the rules of files beyond them. Does not belong here: the
settings that set the limits (`pipelines.workspace.settings`), the reading itself.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.exports.reading import FileFault

TOO_MANY_COLUMNS = "too_many_columns"


@dataclass(frozen=True)
class Limits:
    """The most that is read of one file; None: no limit.

    `max_file_bytes` of a file, packed or unpacked; `max_field_chars` of one field; `max_columns`
    of a header; `max_cells` of a sheet, its last row times its last column;
    `max_workbook_bytes` of memory and `max_workbook_seconds` for the process that reads a workbook.
    """

    max_file_bytes: int | None = None
    max_field_chars: int | None = None
    max_columns: int | None = None
    max_cells: int | None = 20_000_000
    max_workbook_bytes: int = 2048 << 20
    max_workbook_seconds: float = 300


def too_many_columns(columns: int, allowed: int, line: int) -> FileFault:
    """A header of more columns than the settings allow."""
    return FileFault(
        TOO_MANY_COLUMNS,
        f"The header on line {line} has {columns:,} columns, more than the {allowed:,} that "
        "max_columns under [limits] in limeledger.toml allows; export fewer columns, or raise "
        "that.",
        line,
    )


def too_many_cells(cell: str, cells: int, allowed: int) -> FileFault:
    """A sheet that reaches farther than the settings allow; `cell` is its farthest one."""
    return FileFault(
        "too_many_cells",
        f"The sheet reaches to {cell}, that is {cells:,} cells, more than the {allowed:,} that "
        "max_cells under [limits] in limeledger.toml allows; empty the stray cells far from the "
        "data, or raise that.",
    )


def workbook_memory(allowed: int) -> FileFault:
    """A sheet for which the memory did not suffice; `allowed` in bytes."""
    return FileFault(
        "workbook_memory",
        f"Reading the sheet took more than the {allowed >> 20:,} MB of memory that max_workbook_mb "
        "under [limits] in limeledger.toml allows; split the workbook, save the sheet as CSV, or "
        "raise that.",
    )


def workbook_time(allowed: float) -> FileFault:
    """A sheet for which the time did not suffice; `allowed` in seconds."""
    return FileFault(
        "workbook_time",
        f"Reading the sheet took longer than the {allowed:g} seconds that max_workbook_seconds "
        "under [limits] in limeledger.toml allows; split the workbook, save the sheet as CSV, or "
        "raise that.",
    )


def workbook_failed(ending: str) -> FileFault:
    """A sheet during whose reading the process broke down; `ending` says how it ended."""
    return FileFault(
        "workbook_failed",
        f"The process that read the sheet broke down ({ending}); save the workbook again, or the "
        "sheet as CSV.",
    )
