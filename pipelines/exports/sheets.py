"""The sheets of an Excel workbook as rows of text, with what a sheet itself knows of types.

Belongs here: the account of a sheet's rows. Does not belong here: cells to text (`cells`), what
names and values mean (`pipelines.records`).

A row's line is its number in the sheet; an empty row is no row. A day becomes `2026-03-31`, a
moment `2026-03-31T14:05:06`, a number plain decimal digits (15 significant ones, as many as a
workbook keeps), yes/no `true` or `false`; none of them is guessed from text.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import polars as pl

from pipelines.exports.cells import Cells
from pipelines.exports.header_rows import HeaderSought, choose_header
from pipelines.exports.limits import Limits, too_many_columns
from pipelines.exports.reading import (
    FAULTS,
    FileFault,
    Reading,
    cell_error_reason,
    long_field_faults,
    refuse,
    rows_schema,
    surplus_cells_reason,
)
from pipelines.exports.workbook_process import NoWorkbook, Sheet, read_sheets

FIRST_ROWS = 50  # among which the header is looked for


def read_workbook(file: Path, limits: Limits = Limits()) -> list[Sheet]:  # noqa: B008 - frozen
    """Every sheet of a workbook; nothing in it can raise an error.

    A workbook that cannot be opened, or is larger than allowed, packed or unpacked, is one sheet
    without a name that has a fault.
    """
    fault = _size_fault(file, limits.max_file_bytes)
    if fault is None:
        try:
            return list(read_sheets(file, limits))
        except NoWorkbook:
            fault = _no_workbook()
    return [Sheet("", None, fault)]


def read_sheet(
    file: Path, *, max_file_bytes: int | None = None, max_field_chars: int | None = None
) -> Reading:
    """Reads the first sheet of a workbook as `sheet_reading` does, under the limits given."""
    limits = Limits(max_file_bytes=max_file_bytes, max_field_chars=max_field_chars)
    return sheet_reading(read_workbook(file, limits)[0], limits)


def sheet_reading(
    sheet: Sheet,
    limits: Limits,
    sought: HeaderSought = HeaderSought(),  # noqa: B008 - frozen
) -> Reading:
    """The rows of a sheet below its header.

    The header is a row up to its last name. A row with a cell beyond it, and a row with an error
    cell (`#N/A`), are set aside.
    """
    if sheet.cells is None:
        unread = sheet.fault or _no_workbook()
        return refuse(unread.rule, unread.sentence, encoding="xlsx")
    text = sheet.cells.text
    if text.is_empty():
        return refuse(
            "empty_file", "The first sheet is empty and has not even a header.", encoding="xlsx"
        )
    tops = text.head(FIRST_ROWS)
    if sought.row is not None:
        tops = text.filter(pl.col("row") == sought.row - 1)
        if tops.is_empty():
            return _no_such_row(text, sought.row)
    headers = {row[0] + 1: _trimmed_header(list(row[1:])) for row in tops.rows()}
    line = choose_header(list(headers.items()), sought)
    header = headers[line]
    rows_read = text.filter(pl.col("row") >= line).height
    fault: FileFault | None = None
    if limits.max_columns is not None and len(header) > limits.max_columns:
        fault = too_many_columns(len(header), limits.max_columns, line)
    elif any(row == line - 1 for row, _, _ in sheet.cells.errors):
        fault = FileFault(
            "header_error",
            f"The header in row {line} holds an error value; write the column's name there.",
            line,
        )
    if fault is not None:
        header = header if fault.rule == "header_error" else []
        return refuse(
            fault.rule,
            fault.sentence,
            line=line,
            rows_read=rows_read,
            encoding="xlsx",
            header=header,
        )
    return _account(sheet.cells, line, header, limits.max_field_chars)


def _no_such_row(text: pl.DataFrame, row: int) -> Reading:
    return refuse(
        "no_header_row",
        f"Row {row}, which the mapping names as header_row, is empty; name the row of the header.",
        line=row,
        rows_read=text.filter(pl.col("row") >= row).height,
        encoding="xlsx",
    )


def _size_fault(file: Path, allowed: int | None) -> FileFault | None:
    try:
        with zipfile.ZipFile(file) as packed:
            size = max(file.stat().st_size, sum(part.file_size for part in packed.infolist()))
    except OSError as error:
        return FileFault(
            "unreadable",
            f"The file cannot be read ({error.strerror or error}); correct its permissions.",
        )
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        return _no_workbook()
    if allowed is not None and size > allowed:
        return FileFault(
            "file_too_large",
            f"The workbook unpacks to {size:,} bytes, more than the {allowed:,} that max_file_mb "
            "in limeledger.toml allows; raise that, or split the file.",
        )
    return None


def _no_workbook() -> FileFault:
    return FileFault(
        "no_workbook",
        "The file is no Excel workbook that can be read (damaged, or locked by a password); save "
        "it again as .xlsx or CSV.",
    )


def _trimmed_header(names: list[str]) -> list[str]:
    last = max((index for index, name in enumerate(names) if name), default=-1)
    return names[: last + 1]


def _account(cells: Cells, top: int, header: list[str], max_field_chars: int | None) -> Reading:
    width = len(header)
    names = [f"c{index}" for index in range(width)]
    line = (pl.col("row") + 1).alias("line")
    below = pl.col("row") >= top
    text = cells.text.filter(below).select(
        line,
        pl.concat_str(pl.exclude("row"), separator="\t").str.strip_chars_end("\t").alias("raw"),
        pl.exclude("row"),
    )
    faults = [_error_faults(cells, top, width), _surplus_faults(text, width)]
    if max_field_chars:
        faults.append(long_field_faults(text, width, max_field_chars))
    aside = pl.concat(faults).sort("line", maintain_order=True)
    is_sound = ~pl.col("line").is_in(aside["line"].implode())
    typed = cells.typed.filter(below).select(line, pl.col(names))
    return Reading(
        encoding="xlsx",
        delimiter="",
        header=header,
        header_line=top,
        rows=text.filter(is_sound).select(list(rows_schema(width))),
        faults=aside,
        rows_read=text.height,
        typed=typed.filter(is_sound),
    )


def _error_faults(cells: Cells, top: int, width: int) -> pl.DataFrame:
    rows = [
        (
            row + 1,
            column if column < width else None,
            error,
            "cell_error",
            cell_error_reason(error),
        )
        for row, column, error in cells.errors
        if row >= top
    ]
    return pl.DataFrame(rows, schema=FAULTS, orient="row")


def _surplus_faults(text: pl.DataFrame, width: int) -> pl.DataFrame:
    beyond = [f"c{index}" for index in range(width, text.width - 2)]
    return text.filter(pl.any_horizontal(pl.lit(False), pl.col(beyond) != "")).select(
        "line",
        pl.lit(None, pl.Int64).alias("column_index"),
        pl.col("raw").alias("value"),
        pl.lit("too_many_fields").alias("rule"),
        pl.lit(surplus_cells_reason(width)).alias("reason"),
    )
