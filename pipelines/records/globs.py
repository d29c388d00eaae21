"""Patterns of names as mappings write them: `*` and `?`, and `**` across folders.

Belongs here: patterns to regular expressions of the linear-time kind. Does not belong here: what
they are matched with.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_PIECE = re.compile(r"\*\*/|\*\*|\*|\?|[^*?]+")


def path_pattern(glob: str) -> str:
    """The expression of a path: `*` stays within a folder, `**` crosses folders."""
    put = {"**/": "(?:.*/)?", "**": ".*", "*": "[^/]*", "?": "[^/]"}
    return _pattern(glob, put)


def text_pattern(glob: str) -> str:
    """The expression of a whole cell or name, in which `*` stands for anything."""
    return _pattern(glob, {"**/": ".*/", "**": ".*", "*": ".*", "?": "."})


def any_of(patterns: Iterable[str]) -> str:
    """The expression of a whole text that fits one of the patterns, in any case."""
    return f"(?is)^(?:{'|'.join(patterns)})$"


def fits(globs: Iterable[str], name: str) -> bool:
    """Whether a name fits one of the patterns for whole names, in any case."""
    return re.search(any_of(map(text_pattern, map(_composed, globs))), _composed(name)) is not None


def fits_path(globs: Iterable[str], path: str) -> bool:
    """Whether a path fits one of the patterns for paths, in any case."""
    return re.search(any_of(map(path_pattern, map(_composed, globs))), _composed(path)) is not None


def _composed(text: str) -> str:
    """A text with composed accents: some systems write names of files with accents apart."""
    return unicodedata.normalize("NFC", text)


def _pattern(glob: str, put: dict[str, str]) -> str:
    return "".join(put.get(piece) or re.escape(piece) for piece in _PIECE.findall(glob))
