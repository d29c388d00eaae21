"""The first rows of a text file, each by its own delimiter, for whoever looks for a header.

Belongs here: rows as cells with their lines. Does not belong here: which of them is the header
(`header_lines`, `header_rows`), the rows below (`text_rows`).
"""

from __future__ import annotations

from pathlib import Path

from pipelines.exports.delimiters import choose_delimiter, delimiter_directive
from pipelines.exports.encodings import to_utf8
from pipelines.exports.header_lines import FIRST_ROWS, first_written_line
from pipelines.exports.row_parser import count_line_ends, line_end, parse_row

_ENOUGH = 4 << 20  # bytes that hold the first rows of any file worth a draft


def first_rows(file: Path, max_columns: int | None = None) -> list[tuple[int, list[str]]]:
    """(line, cells) of the first written rows of a text file; rows that are too wide are left out.

    Raises:
        OSError: the file cannot be read.
    """
    with file.open("rb") as opened:
        text = to_utf8(opened.read(_ENOUGH))
    data = text.data
    start, line = first_written_line(data, text.start, 1)
    directive = delimiter_directive(data, start) if start < len(data) else None
    if directive:
        start, line = first_written_line(data, line_end(data, directive[1])[1], line + 1)
    rows: list[tuple[int, list[str]]] = []
    while start < len(data) and len(rows) < FIRST_ROWS:
        mark = directive[0] if directive else choose_delimiter(data, start, ())
        row = parse_row(data, start, mark, width=0)
        cells = [field.decode(errors="replace").strip() for field in row.fields]
        if max_columns is None or len(cells) <= max_columns:
            rows.append((line, cells))
        line += count_line_ends(data, start, row.next_start)
        start, line = first_written_line(data, row.next_start, line)
    return rows
