"""One row, byte by byte: what a field is where quotes are about.

Belongs here: the rules of quotes, for the few rows that hold them in a hard way. Does not belong
here: the fast way for the others (`line_blocks`), which must agree with this one.

A field is quoted when its first character other than blanks (spaces, tabs) is a quote. Only CR, LF
and CRLF end a line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

QUOTE = 0x22
_LINE_END = re.compile(rb"\r\n|\r|\n")
_BLANKS = {d: re.compile(rb"[ ]*" if d == "\t" else rb"[ \t]*") for d in ",;\t|"}
_PLAIN = {d: re.compile(rb"[^\r\n" + re.escape(d.encode()) + rb"]*") for d in ",;\t|"}


@dataclass(frozen=True)
class ParsedRow:
    """A row at `start`; its text ends before `end`, and the next line begins at `next_start`.

    `fields` are not trimmed; quotes are taken off. `faults` holds (field index, rule).
    """

    fields: list[bytes]
    faults: list[tuple[int, str]]
    end: int
    next_start: int


def parse_row(data: bytes, start: int, delimiter: str, width: int) -> ParsedRow:
    """The row that begins at `start`, in a file whose header has `width` names."""
    between = delimiter.encode()
    fields: list[bytes] = []
    faults: list[tuple[int, str]] = []
    at, line_stop = start, -1
    while True:
        if at > line_stop:
            line_stop = line_end(data, at)[0]
        at = _take_plain(data, at, line_stop, between, fields)
        opening = _past(_BLANKS, delimiter, data, at)
        if data[opening : opening + 1] != b'"':
            end = _past(_PLAIN, delimiter, data, at)
            fields.append(data[at:end])
        else:
            closing = _closing_quote(data, opening + 1)
            after = _past(_BLANKS, delimiter, data, closing + 1)
            closed = closing >= 0
            if closed and _past(_PLAIN, delimiter, data, after) == after:
                end = after
                fields.append(data[opening + 1 : closing].replace(b'""', b'"'))
            elif closed and not _opens_elsewhere(data, opening, closing, delimiter, width):
                end = _past(_PLAIN, delimiter, data, after)
                faults.append((len(fields), "text_after_quote"))
                fields.append(data[opening:end])
            else:
                end = line_end(data, opening)[0]
                faults.append((len(fields), "unclosed_quote"))
                fields.append(data[opening:end])
        if data[end : end + 1] != between:
            return ParsedRow(fields, faults, *line_end(data, end))
        at = end + 1


def _past(patterns: dict[str, re.Pattern[bytes]], delimiter: str, data: bytes, at: int) -> int:
    """Where a run of bytes that begins at `at`, and may be empty, ends."""
    run = patterns[delimiter].match(data, at)
    return run.end() if run else at


def _take_plain(data: bytes, at: int, stop: int, between: bytes, fields: list[bytes]) -> int:
    """Appends the fields in `data[at:stop]` that surely hold no quote; where the next begins."""
    quote = data.find(b'"', at, stop)
    last = data.rfind(between, at, stop if quote < 0 else quote)
    if last < 0:
        return at
    fields += data[at:last].split(between)
    return last + 1


def line_end(data: bytes, at: int) -> tuple[int, int]:
    """Where the line that holds `at` ends, and where the next one begins."""
    match = _LINE_END.search(data, at)
    return match.span() if match else (len(data), len(data))


def count_line_ends(data: bytes, start: int, stop: int) -> int:
    """How many line ends stand in `data[start:stop]`, which divides no CRLF."""
    piece = data[start:stop]
    return piece.count(b"\n") + piece.count(b"\r") - piece.count(b"\r\n")


def _closing_quote(data: bytes, at: int) -> int:
    """The first quote from `at` on that is not one of two; -1 where there is none."""
    quote = data.find(b'"', at)
    while quote >= 0 and data[quote + 1 : quote + 2] == b'"':
        quote = data.find(b'"', quote + 2)
    return quote


def _opens_elsewhere(data: bytes, opening: int, closing: int, delimiter: str, width: int) -> bool:
    """Whether a quote with text behind it closes nothing, being part of a later row.

    It is where it stands on a later line than `opening` and there either begins a field, or that
    line by itself is a whole row. Then the quote at `opening` is never closed, and the rows
    between the two are not lost.
    """
    start = max(data.rfind(b"\n", opening, closing), data.rfind(b"\r", opening, closing)) + 1
    if start == 0:
        return False
    if data[start:closing].rstrip(b" \t" if delimiter != "\t" else b" ")[-1:] in (
        b"",
        delimiter.encode(),
    ):
        return True
    alone = parse_row(data[start : line_end(data, closing)[0]], 0, delimiter, width)
    return not alone.faults and len(alone.fields) == width
