"""The header of a text file: on which of its first lines it stands, and by which delimiter.

Belongs here: looking through the first rows, each by its own delimiter. Does not belong here: the
choice among them (`header_rows`), the rows below (`text_rows`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipelines.exports.delimiters import DELIMITERS, choose_delimiter, delimiter_directive
from pipelines.exports.encodings import Text
from pipelines.exports.header_rows import HeaderSought
from pipelines.exports.limits import too_many_columns
from pipelines.exports.reading import FileFault
from pipelines.exports.row_parser import ParsedRow, count_line_ends, line_end, parse_row

FIRST_ROWS = 50  # among which the header is looked for


@dataclass(frozen=True)
class HeaderLine:
    """The header row, its line (from 1), its delimiter, and on which line the next row begins.

    A row with a `fault` was not parsed.
    """

    line: int
    start: int
    delimiter: str
    row: ParsedRow
    next_line: int
    fault: FileFault | None = None


class EmptyFile(Exception):
    """There is no line that holds more than blanks."""


def find_header(
    text: Text, known_names: Iterable[str], sought: HeaderSought, max_columns: int | None
) -> HeaderLine:
    """The header of a file.

    Columns are counted before a line is looked into, since a line may have a million.

    Raises:
        EmptyFile: nothing stands in the file.
    """
    data, known = text.data, list(known_names)
    start, line = first_written_line(data, text.start, 1)
    directive = delimiter_directive(data, start) if start < len(data) else None
    delimiter = None
    if directive:
        delimiter, end = directive
        start, line = first_written_line(data, line_end(data, end)[1], line + 1)
    if start == len(data):
        raise EmptyFile
    if sought.row is not None:
        return _header_on_line(text, known, sought.row, delimiter, max_columns)
    best: HeaderLine | None = None
    most = 0
    for _ in range(FIRST_ROWS):
        if start == len(data):
            break
        here = _header_at(data, start, line, delimiter, known, max_columns)
        if here.fault is not None and most == 0:
            # A wider row can be no title, and nothing above it is a header.
            return here
        count = 0 if here.fault else sought.held([field.decode() for field in here.row.fields])
        if best is None or count > most:
            best, most = here, count
        if count == len(sought.needed):
            return here
        start, line = first_written_line(data, here.row.next_start, here.next_line)
    assert best is not None
    return best


def first_written_line(data: bytes, start: int, line: int) -> tuple[int, int]:
    """Start and number of the first line from `start` on that holds more than blanks."""
    while start < len(data):
        end, following = line_end(data, start)
        if data[start:end].strip(b" \t"):
            return start, line
        start, line = following, line + 1
    return len(data), line


def _header_on_line(
    text: Text, known: list[str], row: int, delimiter: str | None, max_columns: int | None
) -> HeaderLine:
    """The header on the line that a mapping names."""
    data, start = text.data, text.start
    for _ in range(row - 1):
        if start == len(data):
            break
        start = line_end(data, start)[1]
    if not data[start : line_end(data, start)[0]].strip(b" \t"):
        fault = FileFault(
            "no_header_row",
            f"Line {row}, which the mapping names as header_row, is empty; name the line of the "
            "header.",
            row,
        )
        end, following = line_end(data, start)
        return HeaderLine(row, start, ",", ParsedRow([], [], end, following), row + 1, fault)
    return _header_at(data, start, row, delimiter, known, max_columns)


def _header_at(
    data: bytes,
    start: int,
    line: int,
    delimiter: str | None,
    known: list[str],
    max_columns: int | None,
) -> HeaderLine:
    end, following = line_end(data, start)
    if max_columns is not None:
        marks = DELIMITERS if delimiter is None else (delimiter,)
        counts = {mark: data.count(mark.encode(), start, end) + 1 for mark in marks}
        widest = max(counts, key=lambda mark: counts[mark])
        columns = counts[widest]
        if columns > max_columns and data.find(b'"', start, end) >= 0:
            columns = len(parse_row(data, start, widest, width=0).fields)  # some stand in quotes
        if columns > max_columns:
            row = ParsedRow([], [], end, following)
            fault = too_many_columns(columns, max_columns, line)
            return HeaderLine(line, start, widest, row, line + 1, fault)
    chosen = delimiter or choose_delimiter(data, start, known)
    row = parse_row(data, start, chosen, width=0)
    next_line = line + count_line_ends(data, start, row.next_start)
    return HeaderLine(line, start, chosen, row, next_line)
