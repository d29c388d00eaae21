"""The cells of one sheet as text, with the types that the sheet itself gives them.

Belongs here: what the workbook library tells, turned into text without a guess. Does not belong
here: which row is the header and what becomes of rows (`sheets`), the process that does this
(`workbook_process`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import fastexcel
import polars as pl

CellError = tuple[int, int, str]  # row and column from 0, the error as a spreadsheet shows it
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


@dataclass(frozen=True)
class Cells:
    """The rows of a sheet in which something is written.

    - `text`: `row` (from 0), then `c0` … as text, empty for empty.
    - `typed`: `row`, then `c0` …: `number`, `day`, `moment`, `time`, `flag`, or null for text.
    - `errors`: cells that hold an error such as #N/A; their text is the error.
    """

    text: pl.DataFrame
    typed: pl.DataFrame
    errors: list[CellError]


def load_cells(book: fastexcel.ExcelReader, index: int) -> Cells:
    """The cells of the sheet at `index`; whatever the library raises goes through."""
    texts, errors = _load(book, index, "string")
    numbers, flags, days = (
        _load(book, index, kind)[0] for kind in ("float", "boolean", "duration")
    )
    columns, types = [], []
    for name in texts.columns:
        cell = pl.DataFrame(
            {"text": texts[name], "number": numbers[name], "flag": flags[name], "day": days[name]}
        )
        if texts[name].null_count() == texts.height:
            columns.append(pl.repeat("", texts.height, eager=True).alias(name))
            types.append(pl.repeat(None, texts.height, dtype=pl.String, eager=True).alias(name))
            continue
        cell = cell.select(_cell_type().alias("type"), pl.all())
        columns.append(cell.select(_cell_text().alias(name)).to_series())
        types.append(cell["type"].alias(name))
    for column in {column for _, column, _ in errors}:
        places = {row: error for row, at, error in errors if at == column}
        columns[column] = columns[column].scatter(list(places), list(places.values()))
    return _written(pl.DataFrame(columns), pl.DataFrame(types), errors)


def _written(text: pl.DataFrame, typed: pl.DataFrame, errors: list[CellError]) -> Cells:
    is_written = text.select(pl.any_horizontal(pl.lit(False), pl.all() != "")).to_series()
    row = pl.int_range(text.height, dtype=pl.Int64, eager=True).alias("row")
    return Cells(
        text.insert_column(0, row).filter(is_written) if text.width else _NO_CELLS,
        typed.insert_column(0, row).filter(is_written) if typed.width else _NO_CELLS,
        errors,
    )


_NO_CELLS = pl.DataFrame(schema={"row": pl.Int64})


def _load(
    book: fastexcel.ExcelReader,
    index: int,
    dtype: Literal["string", "float", "boolean", "duration"],
) -> tuple[pl.DataFrame, list[CellError]]:
    sheet = book.load_sheet(index, header_row=None, skip_rows=0, dtypes=dtype)
    batch, errors = sheet.to_arrow_with_errors()
    frame = pl.DataFrame(pl.from_arrow(batch))
    names = [f"c{index}" for index in range(frame.width)]
    cell_errors = [] if errors is None else errors.errors
    return frame.rename(dict(zip(frame.columns, names, strict=True))), [
        (*error.position, _error_name(error.detail)) for error in cell_errors
    ]


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
    shown = _ERROR.search(detail)
    return _ERRORS.get(shown[1], "#ERROR") if shown else "#ERROR"
