"""The first sheet of an Excel workbook as rows of text, with what the sheet itself knows of types.

Belongs here: cells to text and the account of a sheet's rows. Does not belong here: what names
and values mean (`pipelines.records`).

A row's line is its number in the sheet; an empty row is no row. A day becomes `2026-03-31`, a
moment `2026-03-31T14:05:06`, a number plain decimal digits (15 significant ones, as many as a
workbook keeps), yes/no `true` or `false`; none of them is guessed from text.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

import fastexcel
import polars as pl

from pipelines.exports.reading import (
    FAULTS,
    Reading,
    cell_error_reason,
    long_field_faults,
    refuse,
    rows_schema,
    surplus_cells_reason,
)

_ERRORS = {
    "Div0": "#DIV/0!",
    "NA": "#N/A",
    "Name": "#NAME?",
    "Null": "#NULL!",
    "Num": "#NUM!",
    "Ref": "#REF!",
    "Value": "#VALUE!",
    "GettingData": "#GETTING_DATA",
}
_ERROR = re.compile(r"Error\((\w+)\)")
_T = TypeVar("_T")


class _Unreadable(Exception):
    """The workbook cannot be read; `str` says why."""


def read_sheet(
    file: Path, *, max_file_bytes: int | None = None, max_field_chars: int | None = None
) -> Reading:
    """Reads the first sheet of a workbook; nothing in it can raise an error.

    The header is the first row that is not empty, up to its last name. A row with a cell beyond
    it, and a row with an error cell (`#N/A`), are set aside. A workbook larger than
    `max_file_bytes`, packed or unpacked, is set aside unread and counts no rows.
    """
    try:
        _check_size(file, max_file_bytes)
        cells = _load(file)
    except _Unreadable as reason:
        return refuse(*reason.args, encoding="xlsx")
    written = cells.text.select(pl.any_horizontal(pl.all() != "")).to_series().arg_true()
    if not len(written):
        return refuse(
            "empty_file", "The first sheet is empty and has not even a header.", encoding="xlsx"
        )
    top = int(written[0])
    header = _trimmed_header(cells.text.row(top))
    if any(row == top for row, _, _ in cells.errors):
        return refuse(
            "header_error",
            f"The header in row {top + 1} holds an error value; write the column's name there.",
            line=top + 1,
            rows_read=len(written) - 1,
            encoding="xlsx",
            header=header,
        )
    return _account(cells, written[1:], top, header, max_field_chars)


class _Cells:
    """All cells of a sheet: `text` and `typed` frames of one shape, and (row, column, error)."""

    def __init__(self, text: pl.DataFrame, typed: pl.DataFrame, errors: list[tuple]) -> None:
        self.text, self.typed, self.errors = text, typed, errors


def _check_size(file: Path, allowed: int | None) -> None:
    try:
        with zipfile.ZipFile(file) as packed:
            size = max(file.stat().st_size, sum(part.file_size for part in packed.infolist()))
    except OSError as error:
        raise _Unreadable(
            "unreadable",
            f"The file cannot be read ({error.strerror or error}); correct its permissions.",
        ) from None
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise _no_workbook() from None
    if allowed is not None and size > allowed:
        raise _Unreadable(
            "file_too_large",
            f"The workbook unpacks to {size:,} bytes, more than the {allowed:,} that max_file_mb "
            "in limeledger.toml allows; raise that, or split the file.",
        )


def _no_workbook() -> _Unreadable:
    return _Unreadable(
        "no_workbook",
        "The file is no Excel workbook that can be read (damaged, or locked by a password); save "
        "it again as .xlsx or CSV.",
    )


def _guarded(call: Callable[[], _T]) -> _T:
    """The result of a call into the workbook library, whose every failure is one of the file's."""
    try:
        return call()
    except Exception:
        raise _no_workbook() from None
    except BaseException as error:
        # A panic of the library's compiled part is no Exception.
        if type(error).__name__ == "PanicException":
            raise _no_workbook() from None
        raise


def _load(file: Path) -> _Cells:
    book = _guarded(lambda: fastexcel.read_excel(file))

    def load(dtype: str) -> tuple[pl.DataFrame, list]:
        sheet = book.load_sheet(0, header_row=None, skip_rows=0, dtypes=dtype)
        batch, errors = sheet.to_arrow_with_errors()
        frame = pl.DataFrame(pl.from_arrow(batch))
        names = [f"c{index}" for index in range(frame.width)]
        return frame.rename(dict(zip(frame.columns, names, strict=True))), errors

    texts, errors = _guarded(lambda: load("string"))
    numbers, flags, days = (
        _guarded(lambda dtype=dtype: load(dtype)[0]) for dtype in ("float", "boolean", "duration")
    )
    columns, types = [], []
    for name in texts.columns:
        cell = pl.DataFrame(
            {
                "text": texts[name],
                "number": numbers[name],
                "flag": flags[name],
                "day": days[name],
            }
        ).select(_cell_type().alias("type"), pl.all())
        columns.append(cell.select(_cell_text().alias(name)).to_series())
        types.append(cell["type"].alias(name))
    found = [] if errors is None else [(*e.position, _error_name(e.detail)) for e in errors.errors]  # type: ignore[attr-defined]
    for column in {column for _, column, _ in found}:
        places = {row: error for row, at, error in found if at == column}
        columns[column] = columns[column].scatter(list(places), list(places.values()))
    return _Cells(pl.DataFrame(columns), pl.DataFrame(types), found)


def _cell_type() -> pl.Expr:
    day = pl.col("day")
    return (
        pl.when(day.is_not_null() & (day < pl.duration(days=1)))
        .then(pl.lit("time"))
        .when(day.is_not_null() & pl.col("text").str.ends_with(" 00:00:00"))
        .then(pl.lit("day"))
        .when(day.is_not_null())
        .then(pl.lit("moment"))
        .when(pl.col("flag").is_not_null() & pl.col("text").is_in(["true", "false"]))
        .then(pl.lit("flag"))
        .when(pl.col("flag").is_not_null() & pl.col("number").is_not_null())
        .then(pl.lit("number"))
    )


def _cell_text() -> pl.Expr:
    text, kind = pl.col("text"), pl.col("type")
    number = pl.col("number").round_sig_figs(15).cast(pl.String).str.strip_suffix(".0")
    return (
        pl.when(kind == "number")
        .then(pl.when(number.str.contains("e")).then(_plain(number)).otherwise(number))
        .when(kind == "day")
        .then(text.str.head(10))
        .when(kind == "moment")
        .then(text.str.replace(" ", "T", literal=True))
        .when(kind == "time")
        .then(text.str.tail(8))
        .otherwise(text)
        .fill_null("")
        .str.strip_chars()
    )


def _plain(number: pl.Expr) -> pl.Expr:
    return number.map_elements(lambda text: f"{Decimal(text):f}", return_dtype=pl.String)


def _error_name(detail: str) -> str:
    found = _ERROR.search(detail)
    return _ERRORS.get(found[1], "#ERROR") if found else "#ERROR"


def _trimmed_header(names: tuple[str, ...]) -> list[str]:
    last = max(index for index, name in enumerate(names) if name)
    return list(names[: last + 1])


def _account(
    cells: _Cells, rows: pl.Series, top: int, header: list[str], max_field_chars: int | None
) -> Reading:
    width = len(header)
    names = [f"c{index}" for index in range(width)]
    line = (rows.cast(pl.Int64) + 1).alias("line")
    text = cells.text[rows].select(
        line,
        pl.concat_str(pl.all(), separator="\t").str.strip_chars_end("\t").alias("raw"),
        pl.all(),
    )
    faults = _error_faults(cells, top, width)
    faults.append(_surplus_faults(text, width))
    if max_field_chars:
        faults.append(long_field_faults(text, width, max_field_chars))
    aside = pl.concat(faults).sort("line", maintain_order=True)
    is_sound = ~pl.col("line").is_in(aside["line"].implode())
    typed = cells.typed[rows].select(line, pl.col(names))
    return Reading(
        encoding="xlsx",
        delimiter="",
        header=header,
        header_line=top + 1,
        rows=text.filter(is_sound).select(list(rows_schema(width))),
        faults=aside,
        rows_read=len(rows),
        typed=typed.filter(is_sound),
    )


def _error_faults(cells: _Cells, top: int, width: int) -> list[pl.DataFrame]:
    found = [
        (
            row + 1,
            column if column < width else None,
            error,
            "cell_error",
            cell_error_reason(error),
        )
        for row, column, error in cells.errors
        if row > top
    ]
    return [pl.DataFrame(found, schema=FAULTS, orient="row")]


def _surplus_faults(text: pl.DataFrame, width: int) -> pl.DataFrame:
    beyond = [f"c{index}" for index in range(width, text.width - 2)]
    return text.filter(pl.any_horizontal(pl.lit(False), pl.col(beyond) != "")).select(
        "line",
        pl.lit(None, pl.Int64).alias("column_index"),
        pl.col("raw").alias("value"),
        pl.lit("too_many_fields").alias("rule"),
        pl.lit(surplus_cells_reason(width)).alias("reason"),
    )
