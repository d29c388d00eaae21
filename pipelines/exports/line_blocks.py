"""Many rows at once: a block of lines, split by column operations where no hard quote is about.

Belongs here: the fast way, and handing the few hard rows to `row_parser`, with which it must agree
to the byte. Does not belong here: encodings, the header, files.

Plain, stray and quoted lines (see `block_lines`) go through the column operations; hard ones go one
by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.exports.block_lines import CR, LF, SPACE, TAB, Lines, classify, split_lines
from pipelines.exports.reading import FAULTS, count_reason, long_field_faults, rows_schema
from pipelines.exports.row_faults import Fault, Form, decoded, judge
from pipelines.exports.row_parser import QUOTE, count_line_ends, parse_row

_SHORT = 12  # bytes that a string view holds in itself


@dataclass(frozen=True)
class Block:
    """The rows that begin in one block, in no order, and where the next block begins."""

    rows: list[pl.DataFrame]
    faults: list[pl.DataFrame]
    next_start: int
    next_line: int


def read_block(form: Form, start: int, stop: int, first_line: int) -> Block:
    """The rows that begin in `form.text.data[start:stop]`, which begins and ends with a line."""
    data = form.text.data
    lines = split_lines(data[start:stop], form.delimiter)
    quoted, stray, hard = classify(lines, form.delimiter)
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
    form: Form, lines: Lines, begins: np.ndarray, hard: np.ndarray, start: int, first_line: int
) -> tuple[list[tuple[int | str, ...]], list[Fault], int]:
    """Sound rows, faults, and where the last hard row ends; lines inside a row begin no other."""
    sound: list[tuple[int | str, ...]] = []
    aside: list[Fault] = []
    next_start = 0
    for index in np.flatnonzero(hard & begins).tolist():
        if not begins[index]:
            continue
        row_start = start + int(lines.starts[index])
        row = parse_row(form.text.data, row_start, form.delimiter, form.width)
        line, next_start = first_line + index, row.next_start
        faults = judge(form, row, row_start, line)
        if faults:
            aside += faults
        else:
            raw = form.text.data[row_start : row.end].decode()
            sound.append((line, raw, *decoded(row.fields)))
        if next_start - start > lines.nexts[index]:
            begins[index + 1 : np.searchsorted(lines.starts, next_start - start)] = False
    return sound, aside, next_start


def _read_easy(
    form: Form,
    lines: Lines,
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
    form: Form, lines: Lines, chosen: np.ndarray, quote: bool, first_line: int
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
    form: Form, lines: Lines, ragged: np.ndarray, first_line: int, start: int
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
