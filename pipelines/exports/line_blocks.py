"""Many rows at once: a block of lines, split by column operations where no hard quote is about.

Belongs here: the fast way, and handing the few hard rows to `row_parser`, with which it must agree
to the byte. Does not belong here: encodings, the header, files.

Lines are sorted into four classes. *Plain* ones hold no quote. *Stray* ones hold quotes, but none
that begins a field, so each is itself. *Quoted* ones hold quoted fields of the simplest form, on
one line and without blanks around. All others are *hard* and go one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.exports.encodings import UNDECODABLE, Text
from pipelines.exports.reading import (
    FAULTS,
    count_reason,
    cut_off_quote_reason,
    long_field_faults,
    nul_reason,
    rows_schema,
    text_after_quote_reason,
    too_long_reason,
    unclosed_quote_reason,
    undecodable_reason,
)
from pipelines.exports.row_parser import QUOTE, ParsedRow, count_line_ends, parse_row

LF, CR, SPACE, TAB = 10, 13, 32, 9
_SHORT = 12  # bytes that a string view holds in itself
_BLANKS_LOOKED_PAST = 4


@dataclass(frozen=True)
class Form:
    """What every block of a file has in common."""

    text: Text
    delimiter: str
    width: int
    max_field_chars: int | None


@dataclass(frozen=True)
class Block:
    """The rows that begin in one block, in no order, and where the next block begins."""

    rows: list[pl.DataFrame]
    faults: list[pl.DataFrame]
    next_start: int
    next_line: int


@dataclass
class _Lines:
    """The lines of a block; positions count from its first byte."""

    buffer: np.ndarray
    starts: np.ndarray
    ends: np.ndarray  # without the line end
    nexts: np.ndarray
    delimiters: np.ndarray  # positions of all, also of those inside quotes
    counts: np.ndarray  # delimiters a line
    has_lone_returns: bool  # a CR without LF ends a line


def read_block(form: Form, start: int, stop: int, first_line: int) -> Block:
    """The rows that begin in `form.text.data[start:stop]`, which begins and ends with a line."""
    data = form.text.data
    lines = _split_lines(data[start:stop], form.delimiter)
    quoted, stray, hard = _classify(lines, form.delimiter)
    begins = lines.ends > lines.starts
    sound, aside, next_start = _read_hard(form, lines, begins, hard, start, first_line)
    whole = lines.counts == form.width - 1
    easy = begins & ~hard
    next_start = max(stop, next_start)
    next_line = first_line + len(lines.starts) + count_line_ends(data, stop, next_start)
    rows, faults = _read_easy(form, lines, easy & whole, quoted, stray, first_line)
    if sound:
        schema = rows_schema(form.width)
        rows.append(_trim(pl.DataFrame(sound, schema=schema, orient="row")))
    if aside:
        faults.append(pl.DataFrame(aside, schema=FAULTS, orient="row"))
    ragged = np.flatnonzero(easy & ~whole)
    if len(ragged):
        faults.append(_ragged(form, lines, ragged, first_line, start))
    return Block(rows, faults, next_start, next_line)


def _read_hard(
    form: Form, lines: _Lines, begins: np.ndarray, hard: np.ndarray, start: int, first_line: int
) -> tuple[list[tuple], list[tuple], int]:
    """Sound rows, faults, and where the last hard row ends; lines inside a row begin no other."""
    sound, aside, next_start = [], [], 0
    for index in np.flatnonzero(hard & begins).tolist():
        if not begins[index]:
            continue
        row_start = start + int(lines.starts[index])
        row = parse_row(form.text.data, row_start, form.delimiter, form.width)
        line, next_start = first_line + index, row.next_start
        found = _judge(form, row, row_start, line)
        if found:
            aside += found
        else:
            raw = form.text.data[row_start : row.end].decode()
            sound.append((line, raw, *_decoded(row.fields)))
        if next_start - start > lines.nexts[index]:
            begins[index + 1 : np.searchsorted(lines.starts, next_start - start)] = False
    return sound, aside, next_start


def _split_lines(piece: bytes, delimiter: str) -> _Lines:
    buffer = np.frombuffer(piece, np.uint8)
    size = len(buffer)
    last = np.flatnonzero(buffer == LF)
    ends, has_lone_returns = last, False
    if b"\r" in piece:
        returns = np.flatnonzero(buffer == CR)
        alone = returns[buffer[np.minimum(returns + 1, size - 1)] != LF]
        has_lone_returns = len(alone) > 0
        if has_lone_returns:
            last = np.sort(np.concatenate([last, alone]))
        ends = last - ((buffer[last] == LF) & (last > 0) & (buffer[last - 1] == CR))
    starts = np.concatenate([[0], last + 1])
    if starts[-1] == size:
        starts = starts[:-1]
    else:
        ends = np.append(ends, size)
    nexts = np.append(starts[1:], size)
    delimiters = np.flatnonzero(buffer == ord(delimiter))
    counts = np.diff(np.searchsorted(delimiters, np.append(starts, size)))
    return _Lines(buffer, starts, ends, nexts, delimiters, counts, has_lone_returns)


def _classify(lines: _Lines, delimiter: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which lines are quoted, stray and hard; takes delimiters inside quotes off the counts."""
    buffer, count = lines.buffer, len(lines.starts)
    hard = np.zeros(count, bool)
    nul = np.flatnonzero(buffer == 0)
    hard[np.searchsorted(lines.starts, nul, "right") - 1] = True
    quotes = np.flatnonzero(buffer == QUOTE)
    if not len(quotes):
        return np.zeros(count, bool), np.zeros(count, bool), hard
    first = np.searchsorted(quotes, lines.starts)  # of each line, its first quote
    per_line = np.diff(np.append(first, len(quotes)))
    line = np.repeat(np.arange(count), per_line)
    is_opening = (np.arange(len(quotes)) - first[line]) % 2 == 0
    edges = np.zeros(256, bool)
    edges[[ord(delimiter), LF, CR]] = True
    before = np.where(quotes > 0, buffer[quotes - 1], LF)
    after = np.where(quotes + 1 < len(buffer), buffer[np.minimum(quotes + 1, len(buffer) - 1)], LF)
    beside = np.where(is_opening, before, after)
    quoted = (per_line > 0) & (per_line % 2 == 0) & ~hard
    quoted[line[~(edges[beside] | (beside == QUOTE))]] = False
    stray = (per_line > 0) & ~hard
    stray[line[_begins_field(buffer, quotes, before, edges, delimiter)]] = False
    hard |= (per_line > 0) & ~quoted & ~stray
    opening, closing = quotes[quoted[line] & is_opening], quotes[quoted[line] & ~is_opening]
    inside = np.searchsorted(lines.delimiters, closing) - np.searchsorted(lines.delimiters, opening)
    np.subtract.at(lines.counts, line[quoted[line] & is_opening], inside)
    return quoted, stray, hard


def _begins_field(
    buffer: np.ndarray,
    quotes: np.ndarray,
    before: np.ndarray,
    edges: np.ndarray,
    delimiter: str,
) -> np.ndarray:
    """Which quotes have nothing but blanks before them in their field, or may have."""
    blank = np.zeros(256, bool)
    blank[[SPACE, TAB]] = True
    blank[ord(delimiter)] = False
    begins = edges[before]
    asked = np.flatnonzero(blank[before])
    at = quotes[asked] - 1
    for _ in range(_BLANKS_LOOKED_PAST):
        at = at - ((at > 0) & blank[buffer[at]])
    begins[asked] = edges[buffer[at]] | blank[buffer[at]]
    return begins


def _read_easy(
    form: Form,
    lines: _Lines,
    easy: np.ndarray,
    quoted: np.ndarray,
    stray: np.ndarray,
    first_line: int,
) -> tuple[list[pl.DataFrame], list[pl.DataFrame]]:
    """The frames of rows whose lines are plain, stray or quoted and as wide as the header."""
    rows, faults = [], []
    apart = (easy & quoted).any() and (easy & stray).any()
    for chosen, quote in (
        (easy & ~stray if apart else easy, (easy & quoted).any()),
        (easy & stray if apart else np.zeros_like(easy), False),
    ):
        if not chosen.any():
            continue
        frame = _parse_lines(form, lines, chosen, quote, first_line)
        if (
            form.max_field_chars
            and (lines.ends - lines.starts)[chosen].max() > form.max_field_chars
        ):
            faults.append(long_field_faults(frame, form.width, form.max_field_chars))
            frame = frame.filter(~pl.col("line").is_in(faults[-1]["line"].implode()))
        rows.append(frame)
    return rows, faults


def _parse_lines(
    form: Form, lines: _Lines, chosen: np.ndarray, quote: bool, first_line: int
) -> pl.DataFrame:
    if chosen.all():
        piece = lines.buffer.tobytes()
    else:
        piece = lines.buffer[np.repeat(chosen, lines.nexts - lines.starts)].tobytes()
    if lines.has_lone_returns:
        piece = piece.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    names = [f"c{index}" for index in range(form.width)]
    # The header line in front keeps a mark at the start of the first row part of that row.
    frame = pl.read_csv(
        form.delimiter.join(names).encode() + b"\n" + piece,
        separator=form.delimiter,
        quote_char='"' if quote else None,
        infer_schema=False,
        empty_string_is_null=False,
    )
    index = np.flatnonzero(chosen)
    if frame.height != len(index):
        raise AssertionError(f"{len(index)} lines gave {frame.height} rows")
    if _has_soft_edges(piece, form.delimiter):
        frame = _trim(frame)
    raw = _texts(lines.buffer, lines.starts[index], lines.ends[index])
    return frame.select(
        pl.Series("line", index + first_line, dtype=pl.Int64), raw.alias("raw"), pl.all()
    )


def _has_soft_edges(piece: bytes, delimiter: str) -> bool:
    """Whether a blank, or a byte that may be part of one, stands at the edge of any field."""
    if delimiter == "\t" and b'"' in piece:
        return True  # a tab inside quotes may be such a blank
    buffer = np.frombuffer(piece, np.uint8)
    soft = buffer == SPACE
    if not piece.isascii():
        soft |= buffer >= 0x80
    for byte in (TAB, 11, 12):
        if byte != ord(delimiter) and bytes([byte]) in piece:
            soft |= buffer == byte
    edge = (buffer == ord(delimiter)) | (buffer == LF)
    for byte in (QUOTE, CR):
        if bytes([byte]) in piece:
            edge |= buffer == byte
    return bool(
        soft[:1].any()
        or soft[-1:].any()
        or (soft[1:] & edge[:-1]).any()
        or (soft[:-1] & edge[1:]).any()
    )


def _trim(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.exclude("line", "raw").str.strip_chars())


def _texts(buffer: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> pl.Series:
    """Slices of `buffer`, which stays shared, as a column of strings."""
    lengths = ends - starts
    views = np.zeros((len(starts), 4), np.uint32)
    views[:, 0] = lengths
    inner = views.view(np.uint8).reshape(-1, 16)
    for at in range(_SHORT):
        here = np.flatnonzero((lengths > at) & ((lengths <= _SHORT) | (at < 4)))
        inner[here, 4 + at] = buffer[starts[here] + at]
    long = np.flatnonzero(lengths > _SHORT)
    views[long, 3] = starts[long]
    parts = [None, pa.py_buffer(views), pa.py_buffer(buffer)]
    return pl.Series(
        pl.from_arrow(pa.Array.from_buffers(pa.string_view(), len(starts), parts, null_count=0))
    )


def _ragged(
    form: Form, lines: _Lines, ragged: np.ndarray, first_line: int, start: int
) -> pl.DataFrame:
    fields = lines.counts[ragged] + 1
    ends_without = start + int(lines.ends[-1]) == len(form.text.data)
    is_last = ragged == len(lines.starts) - 1
    cut_off = is_last & ends_without & (fields < form.width)
    reasons = pl.DataFrame(
        [
            (int(n), bool(cut), *count_reason(int(n), form.width, bool(cut)))
            for n, cut in np.unique(np.column_stack([fields, cut_off]), axis=0)
        ],
        schema={"n": pl.Int64, "cut": pl.Boolean, "rule": pl.String, "reason": pl.String},
        orient="row",
    )
    rows = pl.DataFrame(
        {
            "line": pl.Series(ragged + first_line, dtype=pl.Int64),
            "column_index": pl.Series([None], dtype=pl.Int64).new_from_index(0, len(ragged)),
            "value": _texts(lines.buffer, lines.starts[ragged], lines.ends[ragged]),
            "n": pl.Series(fields, dtype=pl.Int64),
            "cut": pl.Series(cut_off),
        }
    )
    return rows.join(reasons, on=["n", "cut"], how="left").select(list(FAULTS))


def _judge(form: Form, row: ParsedRow, start: int, line: int) -> list[tuple]:
    """Every reason for which a hard row is set aside."""
    faults = []
    data = form.text.data
    has_nul = data.find(b"\0", start, row.end) >= 0
    ends_without = row.end == row.next_start == len(data)
    for index, rule in row.faults:
        if rule == "text_after_quote":
            reason = text_after_quote_reason(index)
        elif ends_without:
            rule, reason = "cut_off_line", cut_off_quote_reason(index)
        else:
            reason = unclosed_quote_reason(index)
        place = index if index < form.width else None
        faults.append((line, place, _shown(row.fields[index]), rule, reason))
    is_whole = len(row.fields) == form.width
    if not (is_whole or row.faults):
        raw = form.delimiter.join(_shown(field) for field in row.fields)
        cut_off = ends_without and len(row.fields) < form.width
        faults.append((line, None, raw, *count_reason(len(row.fields), form.width, cut_off)))
    if not (has_nul or (form.max_field_chars and row.end - start > form.max_field_chars)):
        return faults
    for index, field in enumerate(row.fields):
        place = index if is_whole else None
        if UNDECODABLE in field:
            reason = undecodable_reason(index, form.text.encoding)
            faults.append((line, place, _shown(field), "undecodable_byte", reason))
        if b"\0" in field.replace(UNDECODABLE, b""):
            faults.append((line, place, _shown(field), "nul_byte", nul_reason(index)))
        allowed = form.max_field_chars
        if allowed and len(field) > allowed and (chars := len(field.decode().strip())) > allowed:
            reason = too_long_reason(index, chars, allowed)
            faults.append((line, place, _shown(field), "field_too_long", reason))
    return faults


def _decoded(fields: list[bytes]) -> list[str]:
    """The fields of a sound row, in which no NUL can stand."""
    return b"\0".join(fields).decode().split("\0")


def _shown(field: bytes) -> str:
    text = field.decode().replace(UNDECODABLE.decode(), "\ufffd").replace("\0", "\u2400")
    return text.strip()
