"""A file of which nobody has told anything, read as tables: a header that was found, and rows.

Belongs here: reading a text file, or a workbook sheet by sheet. Does not belong here: what the
tables mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from pipelines.assist.drafts.headers import header_of
from pipelines.errors import UsageError
from pipelines.exports.delivery import is_workbook
from pipelines.exports.first_rows import first_rows
from pipelines.exports.header_rows import HeaderSought, bare
from pipelines.exports.limits import Limits
from pipelines.exports.reading import Reading
from pipelines.exports.sheets import FIRST_ROWS, read_workbook, sheet_reading
from pipelines.exports.text_rows import read_rows


@dataclass(frozen=True)
class FoundTable:
    """Rows under one header: of a text file, or of the sheets of a workbook that share a header.

    `sheets` is empty for a text file. `reading` is of the first sheet, with the rows of all;
    `top` has (line, cells) of the first rows, titles and header among them.
    """

    sheets: tuple[str, ...]
    reading: Reading
    top: list[tuple[int, list[str]]]

    @property
    def rows_read(self) -> int:
        """All data rows, sound or not."""
        return self.reading.rows_read


def found_tables(file: Path, limits: Limits, sheet: str | None = None) -> list[FoundTable]:
    """The tables of a file, at least one.

    Args:
        file: a text file or a workbook.
        limits: what may be read at most.
        sheet: only the sheet of that name, in any case.

    Raises:
        UsageError: the file cannot be read, or has no such sheet.
    """
    if is_workbook(file.name):
        return _of_workbook(file, limits, sheet)
    if sheet is not None:
        raise UsageError(f"{file} is no workbook and has no sheets; leave --sheet out.")
    try:
        top = first_rows(file, limits.max_columns)
    except OSError as error:
        raise UsageError(f"{file} cannot be read ({error.strerror or error}).") from None
    line = header_of(top) if top else None
    reading = read_rows(
        file,
        sought=HeaderSought(line),
        max_file_bytes=limits.max_file_bytes,
        max_field_chars=limits.max_field_chars,
        max_columns=limits.max_columns,
    )
    if reading.fault is not None:
        raise UsageError(f"No mapping can be drafted from {file}. {reading.fault.sentence}")
    return [FoundTable((), reading, top)]


def _of_workbook(file: Path, limits: Limits, sheet: str | None) -> list[FoundTable]:
    sheets = read_workbook(file, limits)
    names = [one.name for one in sheets]
    if sheet is not None:
        sheets = [one for one in sheets if one.name.casefold() == sheet.casefold()]
        if not sheets:
            raise UsageError(f'{file} has no sheet "{sheet}"; it has {", ".join(names)}.')
    tables: list[FoundTable] = []
    faults = []
    for one in sheets:
        if one.cells is None or one.cells.text.is_empty():
            faults += [one.fault.sentence] if one.fault else []
            continue
        top = [
            (int(row[0]) + 1, [str(cell or "").strip() for cell in row[1:]])
            for row in one.cells.text.head(FIRST_ROWS).rows()
        ]
        reading = sheet_reading(one, limits, HeaderSought(header_of(top)))
        if reading.fault is not None or not any(reading.header):
            faults += [reading.fault.sentence] if reading.fault else []
            continue
        _add(tables, one.name, reading, top)
    if not tables:
        fault = faults[0] if faults else "It holds no cell."
        raise UsageError(f"No mapping can be drafted from {file}. {fault}")
    return tables


def _add(
    tables: list[FoundTable], name: str, reading: Reading, top: list[tuple[int, list[str]]]
) -> None:
    """Adds a sheet to the table of the same headers, or as a new one."""
    for place, table in enumerate(tables):
        if [bare(one) for one in table.reading.header] == [bare(one) for one in reading.header]:
            before = table.reading
            rows = pl.concat([before.rows, reading.rows])
            both = replace(
                before,
                rows=rows,
                faults=pl.concat([before.faults, reading.faults]),
                rows_read=before.rows_read + reading.rows_read,
            )
            tables[place] = replace(table, sheets=(*table.sheets, name), reading=both)
            return
    tables.append(FoundTable((name,), reading, top))
