"""A delimited text file as rows of text: every row is either sound or set aside with a reason.

Belongs here: reading one file from end to end. Does not belong here: the rules of quotes
(`row_parser`), the fast way (`line_blocks`), what names and values mean (`pipelines.records`).
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.exports.encodings import Text, to_utf8
from pipelines.exports.header_lines import EmptyFile, HeaderLine, find_header
from pipelines.exports.header_rows import HeaderSought
from pipelines.exports.line_blocks import read_block
from pipelines.exports.reading import FAULTS, FileFault, Reading, refuse, rows_schema
from pipelines.exports.row_faults import Form
from pipelines.exports.row_parser import ParsedRow, line_end

BLOCK_BYTES = 4 << 20  # blocks that stay in the processor's cache are the fastest
_PACKED = (b"PK\x03\x04", b"\x1f\x8b\x08")  # how ZIP files, and so workbooks, and gzip files begin
_ENDS_ALIKE = bytes.maketrans(b"\r", b"\n")


def read_rows(
    file: Path,
    *,
    known_names: Iterable[str] = (),
    sought: HeaderSought = HeaderSought(),  # noqa: B008 - frozen
    max_file_bytes: int | None = None,
    max_field_chars: int | None = None,
    max_columns: int | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> Reading:
    """Reads one export; nothing in it can raise an error.

    The header is the row that `sought` describes, by default the first line that holds more than
    blanks; rows above it are titles. A first line `sep=;` names the delimiter. `known_names` are
    header names to expect, in any spelling that `header_key` takes for the same; they settle the
    delimiter. A file larger than `max_file_bytes` is set aside and its lines, other than empty
    ones, are counted as rows; so is one whose header has more than `max_columns` columns.
    """
    try:
        size = file.stat().st_size
        if max_file_bytes is not None and size > max_file_bytes:
            return _too_large(file, size, max_file_bytes)
        raw = file.read_bytes()
    except OSError as error:
        return refuse(
            "unreadable",
            f"The file cannot be read ({error.strerror or error}); correct its permissions.",
        )
    if raw.startswith(_PACKED):
        return refuse(
            "packed_file",
            "The file is a packed workbook or archive, whatever its name says; give a workbook the "
            "ending .xlsx, or unpack it.",
        )
    text = to_utf8(raw)
    del raw
    try:
        top = find_header(text, known_names, sought, max_columns)
    except EmptyFile:
        return refuse(
            "empty_file",
            "The file is empty and has not even a header; export it again.",
            encoding=text.encoding,
        )
    if top.fault is not None:
        return refuse(
            top.fault.rule,
            top.fault.sentence,
            line=top.line,
            rows_read=_count_lines(text.data, top.row.next_start),
            encoding=text.encoding,
            delimiter=top.delimiter,
        )
    return _read_below(text, top, max_field_chars, block_bytes)


def _read_below(
    text: Text, top: HeaderLine, max_field_chars: int | None, block_bytes: int
) -> Reading:
    names = [field.decode() for field in top.row.fields]
    header = pl.Series(names, dtype=pl.String).str.strip_chars().to_list()
    form = Form(text, top.delimiter, len(header), max_field_chars)
    rows, faults, rows_read = _read_blocks(form, top.row.next_start, top.next_line, block_bytes)
    fault = _header_fault(top.row, top.line)
    if fault is not None:
        rows, faults = rows.clear(), faults.clear()
    return Reading(
        encoding=text.encoding,
        delimiter=top.delimiter,
        header=header,
        header_line=top.line,
        rows=rows,
        faults=faults,
        rows_read=rows_read,
        fault=fault,
    )


def _count_lines(data: bytes, start: int) -> int:
    """The lines from `start` on that are not empty."""
    return sum(1 for line in data[start:].splitlines() if line)


def _read_blocks(
    form: Form, start: int, line: int, block_bytes: int
) -> tuple[pl.DataFrame, pl.DataFrame, int]:
    data = form.text.data
    rows, faults = [rows_schema(form.width).to_frame()], [FAULTS.to_frame()]
    while start < len(data):
        block = read_block(form, start, _block_end(data, start, block_bytes), line)
        if block.rows:
            rows.append(_in_order(block.rows))
        faults += block.faults
        start, line = block.next_start, block.next_line
    sound, aside = pl.concat(rows), pl.concat(faults).sort("line", maintain_order=True)
    return sound, aside, sound.height + aside["line"].n_unique()


def _in_order(frames: list[pl.DataFrame]) -> pl.DataFrame:
    return frames[0] if len(frames) == 1 else pl.concat(frames).sort("line")


def _block_end(data: bytes, start: int, block_bytes: int) -> int:
    """The end of a line at about `block_bytes` from `start`."""
    limit = start + block_bytes
    if limit >= len(data):
        return len(data)
    cut = max(data.rfind(b"\n", start, limit), data.rfind(b"\r", start, limit)) + 1
    if cut == 0:
        return line_end(data, limit)[1]
    return cut + 1 if data[cut - 1 : cut + 1] == b"\r\n" else cut


def _header_fault(top: ParsedRow, line: int) -> FileFault | None:
    if top.faults:
        index, rule = top.faults[0]
        flaw = (
            "has text after the closing quote"
            if rule == "text_after_quote"
            else "opens a quote that is never closed"
        )
        return FileFault(
            "header_quote",
            f"The header on line {line} {flaw} in field {index + 1}; correct its quotes.",
            line,
        )
    letters = b"".join(top.fields)
    if letters.count(b"\0") * 4 > len(letters):
        return FileFault(
            "header_nul",
            f"The header on line {line} is full of NUL bytes: the file is UTF-16 without its mark, "
            "or no text; export it as UTF-8.",
            line,
        )
    return None


def _too_large(file: Path, size: int, allowed: int) -> Reading:
    return refuse(
        "file_too_large",
        f"The file has {size:,} bytes, more than the {allowed:,} that max_file_mb in "
        "limeledger.toml allows; raise that, or split the file.",
        rows_read=_count_written_lines(file),
    )


def _count_written_lines(file: Path) -> int:
    """Lines that are not empty, other than the header, in little memory."""
    count, previous = 0, b"\n"
    with file.open("rb") as stream:
        while piece := stream.read(BLOCK_BYTES):
            # NUL bytes go, as every second byte of UTF-16 is one.
            bytes_ = np.frombuffer(previous + piece.translate(_ENDS_ALIKE, b"\0"), np.uint8)
            is_end = bytes_ == 10
            count += int((is_end[:-1] & ~is_end[1:]).sum())
            previous = bytes_[-1:].tobytes()
    return max(0, count - 1)
