"""The header line: which delimiter a file uses, and when two header names are the same.

Belongs here: choosing among the four delimiters. Does not belong here: which columns a feed needs
(`pipelines.records`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from pipelines.exports.row_parser import parse_row

DELIMITERS = (",", ";", "\t", "|")
_PASSED_OVER = re.compile(r"[\s.\-_]+")
_DIRECTIVE = re.compile(rb'"?sep=([,;\t|])"?[ \t]*(?=[\r\n]|$)', re.IGNORECASE)


def header_key(name: str) -> str:
    """A header name without regard to case, spaces, dots, dashes and underscores."""
    return _PASSED_OVER.sub("", name).casefold()


def delimiter_directive(data: bytes, start: int) -> tuple[str, int] | None:
    """The delimiter that a first line `sep=;` names, and where that line ends; else None."""
    match = _DIRECTIVE.match(data, start)
    return (match[1].decode(), match.end()) if match else None


def choose_delimiter(data: bytes, start: int, known_names: Iterable[str]) -> str:
    """The delimiter of the header that begins at `start`.

    It is the one under which most of the header's names are known; of several the one that gives
    most names; of those the first of comma, semicolon, tab and pipe.
    """
    known = {header_key(name) for name in known_names}

    def merit(delimiter: str) -> tuple[int, int]:
        names = [field.decode() for field in parse_row(data, start, delimiter, width=0).fields]
        return len({header_key(name) for name in names} & known), len(names)

    return max(DELIMITERS, key=merit)
