"""On which row of a file or sheet the header stands, of which nobody knows whose it is.

Belongs here: judging the first rows by names and by what follows them. Does not belong here:
reading rows (`pipelines.exports`), the header of a mapping (`pipelines.exports.header_rows`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipelines.assist.drafts.header_likeness import known_as_header

_NAME = re.compile(r"[^\W\d_]")
_VALUE = re.compile(r"^[\s$€<+\-]*[0-9][0-9.,:/\-\s]*[%]?$")
_BELOW = 15  # rows below that should be about as wide


def header_of(rows: Sequence[tuple[int, Sequence[str]]]) -> int:
    """The line of the header among the first rows, (line, cells); the first of equals.

    A header names more things that feeds know, and is about as wide as the rows below it; titles
    are short, and data are numbers and days.
    """
    best, most = rows[0][0], -1.0
    for index, (line, cells) in enumerate(rows):
        score = _score(cells, [below for _, below in rows[index + 1 : index + 1 + _BELOW]])
        if score > most + 1e-9:
            best, most = line, score
    return best


def _score(cells: Sequence[str], below: Sequence[Sequence[str]]) -> float:
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        return 0.0
    header_likeness = sum(max(0.0, known_as_header(cell) - 0.5) * 2 for cell in filled)
    words = sum(bool(_NAME.search(cell)) and not _VALUE.match(cell) for cell in filled)
    distinct = len({cell.casefold() for cell in filled}) / len(filled)
    values = sum(bool(_VALUE.match(cell)) for cell in filled)
    wide = [sum(bool(cell.strip()) for cell in row) for row in below]
    like = (
        sum(0.5 * len(filled) <= width <= len(cells) for width in wide) / len(wide) if wide else 0.5
    )
    return (
        (header_likeness + 0.15 * words - 0.5 * values)
        * (0.5 + 0.5 * distinct)
        * (0.3 + 0.7 * like)
    )
