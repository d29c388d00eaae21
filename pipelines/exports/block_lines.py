"""The lines of a block, and of which class each of them is.

Belongs here: column operations on bytes. Does not belong here: fields and rows (`line_blocks`).

*Plain* lines hold no quote. *Stray* ones hold quotes, but none that begins a field, so each is
itself. *Quoted* ones hold quoted fields of the simplest form, on one line and without blanks
around. *Hard* ones are all others, those with a NUL byte, and very long ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.exports.row_parser import QUOTE

LF, CR, SPACE, TAB = 10, 13, 32, 9
_BLANKS_LOOKED_PAST = 4
_LONGEST_EASY_LINE = 16 << 20  # bytes; the column operations are for many short lines


@dataclass
class Lines:
    """The lines of a block; positions count from its first byte."""

    buffer: np.ndarray
    starts: np.ndarray
    ends: np.ndarray  # without the line end
    nexts: np.ndarray
    delimiters: np.ndarray  # positions of all, also of those inside quotes
    counts: np.ndarray  # delimiters a line
    has_lone_returns: bool  # a CR without LF ends a line


def split_lines(piece: bytes, delimiter: str) -> Lines:
    """The lines of a piece of text that begins with one; the last may lack its end."""
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
    return Lines(buffer, starts, ends, nexts, delimiters, counts, has_lone_returns)


def classify(lines: Lines, delimiter: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which lines are quoted, stray and hard; takes delimiters inside quotes off the counts."""
    buffer, count = lines.buffer, len(lines.starts)
    hard = lines.ends - lines.starts > _LONGEST_EASY_LINE
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
    after_blank = np.flatnonzero(blank[before])
    at = quotes[after_blank] - 1
    for _ in range(_BLANKS_LOOKED_PAST):
        at = at - ((at > 0) & blank[buffer[at]])
    begins[after_blank] = edges[buffer[at]] | blank[buffer[at]]
    return np.asarray(begins, bool)
