"""One landed row: what it says, whether it is corrected, and why it is set aside.

Belongs here: finding a row by file and line in the store. Does not belong here: correcting it
(`pipelines.actions.corrections`).
"""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Mapping as MappingOf
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipelines.events.recorded import MadeCorrection
from pipelines.records.corrections import (
    Content,
    contents,
    contents_of_sound,
    typed_texts,
    written_texts,
)
from pipelines.records.feed_file import contents_of
from pipelines.records.mapping import Mapping
from pipelines.records.row_cells import Place
from pipelines.steps.file_parts import read_text
from pipelines.steps.ingest import stored_schema
from pipelines.store.database import has_table, identifier, one_row, query_frame
from pipelines.store.inputs import Inputs
from schemas.codes import DESK_FILE


@dataclass(frozen=True)
class LandedRow:
    """A row of a file, or one that a person entered.

    content: before anything was corrected.
    typed: the cells as they were typed, where that is known, else in one spelling.
    corrections: those in force that were put into it, in their order.
    reasons: (column, rule, sentence) of why it is set aside, as of the last refresh.
    """

    feed: str
    file: str
    line: int
    content: Content
    typed: dict[str, str]
    corrections: tuple[MadeCorrection, ...]
    reasons: tuple[tuple[str, str, str], ...]

    @property
    def now(self) -> dict[str, str]:
        """The cells with the corrections in force."""
        return self.put_into(self.content.texts)

    def put_into(self, cells: MappingOf[str, str]) -> dict[str, str]:
        """Some cells with the corrections in force."""
        values = dict(cells)
        for one in self.corrections:
            values |= one.correction.values
        return {name: text for name, text in values.items() if text}


def find_row(
    con: duckdb.DuckDBPyConnection, inputs: Inputs, feed: str, file: str, line: int
) -> LandedRow | None:
    """The row of a feed at a file's line; None where none stands there that has columns.

    Args:
        con: the store, to read.
    """
    cells = _read(con, inputs, feed, file, line)
    if cells is None:
        return None
    content, typed = cells
    mine = tuple(
        one
        for one in inputs.recorded.made
        if one.withdrawn is None
        and one.correction.feed == feed
        and dict(one.correction.content) == content.texts
    )
    reasons = query_frame(
        con,
        'select coalesce("column", \'\') as "column", rule, reason from set_aside '
        "where feed = ? and file = ? and line = ?",
        [feed, file, line],
    )
    return LandedRow(feed, file, line, content, typed, mine, tuple(reasons.iter_rows()))


def _read(
    con: duckdb.DuckDBPyConnection, inputs: Inputs, feed: str, file: str, line: int
) -> tuple[Content, dict[str, str]] | None:
    if file == DESK_FILE:
        return _entered(inputs, feed, line)
    if (known := _corrected_before(con, inputs, feed, file, line)) is not None:
        return known, known.texts
    cells = _as_landed(con, inputs, feed, file, line)
    if (sound := _typed(con, feed, file, line)) is not None:
        return sound, cells.typed if cells is not None else sound.texts
    return None if cells is None else (cells, cells.typed)


def _entered(inputs: Inputs, feed: str, line: int) -> tuple[Content, dict[str, str]] | None:
    """A row that a person entered."""
    row = dict(inputs.recorded.rows(feed)).get(line)
    if row is None:
        return None
    lines = [(line, row)]
    rows, reasons = typed_texts(feed, lines, inputs.settings.timezone)
    [(_, content)] = contents(feed, rows, reasons, written_texts(feed, lines))
    return content, dict(row)


def _corrected_before(
    con: duckdb.DuckDBPyConnection, inputs: Inputs, feed: str, file: str, line: int
) -> Content | None:
    """The content of a row that the last refresh corrected, from the correction."""
    if not has_table(con, "parsed_corrected"):
        return None
    correction = one_row(
        con,
        "select min(correction) from parsed_corrected where feed = ? and file = ? and line = ?",
        [feed, file, line],
    )
    for one in inputs.recorded.made:
        if correction and one.event == correction[0]:
            return Content(dict(one.correction.content), tuple(one.correction.unsound))
    return None


def _typed(con: duckdb.DuckDBPyConnection, feed: str, file: str, line: int) -> Content | None:
    """The content of a row whose cells are all sound."""
    rows = query_frame(
        con,
        f"select * from {identifier(f'parsed_{feed}')} where source_file = ? and source_line = ? "
        "order by source_part limit 1",
        [file, line],
    ).select(stored_schema(feed).names())
    row_contents = [content for _, content in contents_of_sound(feed, rows)]
    return row_contents[0] if row_contents else None


def _as_landed(
    con: duckdb.DuckDBPyConnection, inputs: Inputs, feed: str, file: str, line: int
) -> Content | None:
    """The cells of a row from its text as it landed, read under its file's header alone."""
    landed = one_row(
        con,
        f"select raw, sheet from {identifier(f'landed_{feed}')} where file = ? and line = ?",
        [file, line],
    )
    if landed is None:
        return None
    part = query_frame(
        con,
        "select mapping, headers, delimiter from file_parts "
        "where feed = ? and file = ? and sheet = ?",
        [feed, file, landed[1]],
    ).to_dicts()
    if len(part) != 1:
        return None
    mapping = _mapping(inputs, feed, file, part[0])
    delimiter = part[0]["delimiter"] or "\t"
    header = io.StringIO()
    csv.writer(header, delimiter=delimiter, lineterminator="\n").writerow(part[0]["headers"])
    with tempfile.TemporaryDirectory(prefix="limeledger-") as folder:
        path = Path(folder) / "row.csv"
        path.write_text(f"{header.getvalue()}{landed[0]}\n", encoding="utf-8", newline="")
        reading = read_text(inputs.settings, path, feed, mapping)
    rows = reading.rows.with_columns(line=pl.lit(line, pl.Int64))
    with_contents = contents_of(
        feed,
        replace(reading, rows=rows),
        mapping,
        inputs.settings.timezone,
        Place(file, landed[1]),
    )
    return with_contents[0] if len(with_contents) == 1 else None


def _mapping(inputs: Inputs, feed: str, file: str, part: dict[str, Any]) -> Mapping:
    """The mapping by which the file was read."""
    for mapping in inputs.mappings.of(feed):
        if mapping.file == part["mapping"]:
            return mapping
    return inputs.mappings.plain(feed)
