"""Cells of rows by the names of their headers, and the rows that entries leave out.

Belongs here: where a named cell is found, `#file` and the like included. Does not belong here:
which headers a feed needs (`headers`), what cells mean (`feed_file`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipelines.exports.header_rows import places_of
from pipelines.exports.reading import Reading
from pipelines.records.entries import OF_JOIN
from pipelines.records.globs import fits
from pipelines.records.left_out import LEFT_OUT, LeaveOut, rows_left_out
from pipelines.records.numerals import Marks
from pipelines.records.steps import literal

# No column of a feed has a name with a NUL.
PART = "\0part"
_COUNT_RULES = ("too_few_fields", "too_many_fields", "cut_off_line")


@dataclass(frozen=True)
class Place:
    """Where rows come from: the path below exports/, and the sheet of a workbook."""

    file: str = ""
    sheet: str = ""


def cell(name: str, header: Sequence[str], place: Place) -> pl.Expr | None:
    """The cell of a row that is not split yet, by its header; null where there is no such one."""
    at = places_of(name, header)
    if at:
        return pl.col(f"c{at[0]}")
    return pl.lit("1") if name.casefold() == "#part" else cell_of_place(name.casefold(), place)


def cell_of_place(name: str, place: Place) -> pl.Expr | None:
    """What `#file`, `#sheet`, `#line` and `#part` hold; null for any other name."""
    match name:
        case "#file":
            return pl.lit(place.file)
        case "#sheet":
            return pl.lit(place.sheet or None, pl.String)
        case "#line":
            return pl.col("line").cast(pl.String)
        case "#part":
            return pl.col(PART).cast(pl.String)
    return None


def leave_rows_out(
    reading: Reading,
    entries: Sequence[LeaveOut],
    place: Place,
    marks: Callable[[str], Marks],
) -> tuple[Reading, pl.DataFrame]:
    """The reading without the rows that entries leave out, and those rows by `LEFT_OUT`.

    Only the first cell of a row with another number of fields than the header has is looked at.

    Args:
        reading: the rows as they came.
        entries: the entries, in their order.
        place: where the rows come from.
        marks: how numbers under a header are written.
    """
    if all(entry.is_of_sheets for entry in entries):
        return reading, LEFT_OUT.to_frame()
    own = [f"c{at}" for at, name in enumerate(reading.header) if OF_JOIN not in name]
    first = pl.coalesce(pl.when(pl.col(name) != "").then(pl.col(name)) for name in own)
    tested = [test.header for entry in entries for test in entry.tests]
    headers = {name: cell(name, reading.header, place) for name in tested}
    known = {name: expr for name, expr in headers.items() if expr is not None}
    of_sheet = tuple(_of_sheet(entry, place.sheet) for entry in entries)
    whole = rows_left_out(reading.rows, of_sheet, known, first, marks)
    ragged = reading.faults.filter(pl.col("rule").is_in(_COUNT_RULES))
    torn = rows_left_out(
        ragged, of_sheet, {}, first_field("value", reading.delimiter or "\t"), marks
    )
    left = pl.concat([whole, torn]).unique("line").sort("line")
    gone = pl.col("line").is_in(left["line"].implode())
    kept = replace(
        reading,
        rows=reading.rows.filter(~gone),
        faults=reading.faults.filter(~gone),
        rows_read=reading.rows_read - left.height,
    )
    return kept, left


def _of_sheet(entry: LeaveOut, sheet: str) -> LeaveOut:
    """An entry that is for other sheets looks at nothing here."""
    if entry.sheets and not fits(entry.sheets, sheet):
        return replace(entry, tests=(), first_cell=())
    return entry


def first_field(column: str, delimiter: str) -> pl.Expr:
    """The first field that is not empty of a row that stands in a column as it came."""
    mark = "\\t" if delimiter == "\t" else literal(delimiter)
    field = rf'^(?:[ \t]*(?:"[ \t]*")?[ \t]*{mark})*[ \t]*(?:"((?:[^"]|"")*)"|([^{mark}]+))'
    parts = pl.col(column).str.extract_groups(field)
    return pl.coalesce(parts.struct.field("1"), parts.struct.field("2")).str.strip_chars()


def in_marks(reading: Reading, marks: Marks) -> Reading:
    """A sheet's own numbers written as the mapping or join that reads it expects them."""
    if reading.typed is None or marks.decimal != ",":
        return reading
    return replace(reading, rows=_with_decimal_commas(reading.rows, reading.typed))


def _with_decimal_commas(rows: pl.DataFrame, typed: pl.DataFrame) -> pl.DataFrame:
    kinds = rows.select("line").join(typed, on="line", how="left", maintain_order="left")
    names = [name for name in rows.columns if name not in ("line", "raw")]
    return rows.with_columns(
        pl.when(kinds[name] == "number")
        .then(pl.col(name).str.replace(".", ",", literal=True))
        .otherwise(pl.col(name))
        .alias(name)
        for name in names
        if name in kinds.columns
    )
