"""What one file gave: its rows as text, the rows set aside, and how many rows there were.

Belongs here: the result of reading and the words of every rule that can set a row or a file
aside while it is read. Does not belong here: how files are read (`text_rows`, `sheets`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

FAULTS = pl.Schema(
    {
        "line": pl.Int64,
        "column_index": pl.Int64,
        "value": pl.String,
        "rule": pl.String,
        "reason": pl.String,
    }
)


@dataclass(frozen=True)
class FileFault:
    """Why a file is set aside whole; `line` is its header's line, 1 where there is none."""

    rule: str
    sentence: str
    line: int = 1


@dataclass(frozen=True)
class Reading:
    """One file as read.

    - `encoding`: utf-8, utf-8-sig, utf-16-le, utf-16-be, cp1252 or xlsx; `delimiter`: one
      character, empty for a sheet.
    - `header`: the names as typed, trimmed, also empty and repeated ones; `header_line`: where
      they stand.
    - `rows`: the sound rows by line: `line` Int64, `raw` String (the row's text without its line
      end; of a sheet the cells, with tabs between), then `c0` … one String a header name,
      trimmed, empty for empty.
    - `faults`: the rows set aside, one row a reason: `line`, `column_index` (into `header`; null
      where the whole row is meant), `value` (what stood there), `rule`, `reason`.
    - `rows_read`: all data rows, sound or not, also those of a file set aside whole.
    - `fault`: why the whole file is set aside, else None.
    - `typed`: of a sheet, `line` and `c0` …: `number`, `day`, `moment`, `time` or `flag` where
      the sheet itself gives the cell that type, else null; None for a text file.
    """

    encoding: str
    delimiter: str
    header: list[str]
    header_line: int
    rows: pl.DataFrame
    faults: pl.DataFrame
    rows_read: int
    fault: FileFault | None = None
    typed: pl.DataFrame | None = None


def rows_schema(width: int) -> pl.Schema:
    """The columns of `Reading.rows` under a header of `width` names."""
    return pl.Schema(
        {
            "line": pl.Int64,
            "raw": pl.String,
            **{f"c{index}": pl.String for index in range(width)},
        }
    )


def refuse(
    rule: str,
    sentence: str,
    *,
    line: int = 1,
    rows_read: int = 0,
    encoding: str = "",
    delimiter: str = "",
    header: Sequence[str] = (),
) -> Reading:
    """A reading of a file that is set aside whole; its rows are counted and not kept."""
    return Reading(
        encoding=encoding,
        delimiter=delimiter,
        header=list(header),
        header_line=line,
        rows=rows_schema(len(header)).to_frame(),
        faults=FAULTS.to_frame(),
        rows_read=rows_read,
        fault=FileFault(rule, sentence, line),
    )


def count_reason(fields: int, width: int, cut_off: bool) -> tuple[str, str]:
    """Rule and sentence of a row with another number of fields than the header has."""
    count = f"{fields} field{'' if fields == 1 else 's'}"
    if fields > width:
        return (
            "too_many_fields",
            f"The row has {count} where the header has {width}; quote a field that holds the "
            "delimiter, or remove what is too much.",
        )
    if cut_off:
        return (
            "cut_off_line",
            f"The last line has {count} where the header has {width}, and no line end: the file "
            "was cut off; export it again.",
        )
    return (
        "too_few_fields",
        f"The row has {count} where the header has {width}; give every field its place, also the "
        "empty ones.",
    )


def text_after_quote_reason(index: int) -> str:
    """Sentence for field `index` (from 0) in which text follows the closing quote."""
    return (
        f"Text follows the closing quote of field {index + 1}; write a quote inside a quoted "
        "field twice."
    )


def unclosed_quote_reason(index: int) -> str:
    """Sentence for field `index` (from 0) whose quote is never closed."""
    return f"The quote that opens field {index + 1} is never closed; close it or remove it."


def cut_off_quote_reason(index: int) -> str:
    """Sentence for field `index` (from 0) whose quote is open where the file ends."""
    return (
        f"The last line ends inside the quotes of field {index + 1}: the file was cut off; export "
        "it again."
    )


def nul_reason(index: int) -> str:
    """Sentence for field `index` (from 0) that holds a NUL byte (shown as ␀)."""
    return f"Field {index + 1} holds a NUL byte; export the file again, or remove it."


def undecodable_reason(index: int, encoding: str) -> str:
    """Sentence for field `index` (from 0) with bytes that the encoding does not define."""
    name = {"cp1252": "Windows-1252", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}.get(
        encoding, "UTF-8"
    )
    return (
        f"Field {index + 1} holds bytes that {name} does not define (shown as \ufffd); export the "
        "file as UTF-8."
    )


def too_long_reason(index: int, chars: int | str, allowed: int) -> str:
    """Sentence for field `index` (from 0) that is longer than the settings allow."""
    return (
        f"Field {index + 1} has {chars} characters, more than the {allowed} that max_field_chars "
        "in limeledger.toml allows."
    )


def cell_error_reason(error: str) -> str:
    """Sentence for a cell of a sheet that holds an error such as #N/A."""
    return f"The sheet holds the error {error} here; correct the formula, or empty the cell."


def surplus_cells_reason(width: int) -> str:
    """Sentence for a row of a sheet that goes on beyond its header."""
    return (
        f"The row has a cell beyond the header's {width} columns; give its column a name, or empty "
        "the cell."
    )


def long_field_faults(rows: pl.DataFrame, width: int, allowed: int) -> pl.DataFrame:
    """A fault for every field of `rows` that is longer than `allowed` characters."""
    faults = [FAULTS.to_frame()]
    for index in range(width):
        field = pl.col(f"c{index}")
        chars = field.str.len_chars()
        faults.append(
            rows.filter(chars > allowed).select(
                "line",
                pl.lit(index, pl.Int64).alias("column_index"),
                field.alias("value"),
                pl.lit("field_too_long").alias("rule"),
                pl.format(too_long_reason(index, "{}", allowed), chars).alias("reason"),
            )
        )
    return pl.concat(faults)
