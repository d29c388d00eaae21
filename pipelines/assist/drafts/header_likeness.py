"""How much a cell is like the name of anything that exports have: what tells a header from data.

Belongs here: looking among all names at once, since every cell of the first rows is asked. Does not
belong here: how two names are compared (`names`), which row is the header (`headers`).
"""

from __future__ import annotations

import re
from functools import lru_cache

from pipelines.assist.drafts.names import alike, begins, other_names, spoken_names
from pipelines.assist.drafts.plain_names import plain_words
from pipelines.assist.drafts.vocabulary import COLUMNS
from pipelines.exports.header_rows import bare

_LONGEST = 45  # characters of a header


@lru_cache(maxsize=16384)
def known_as_header(name: str) -> float:
    """How much a cell is like the name of anything: what tells a header from data."""
    if not re.search(r"[^\W\d_]", name) or len(name) > _LONGEST:
        return 0.0
    if bare(name) in _own_names():
        return 1.0
    words, index = plain_words(name), _by_begin()
    near = {one for begin in begins(words) for one in index.get(begin, ())}
    return max((part * alike(words, spoken) for spoken, part in near), default=0.0)


@lru_cache(maxsize=1)
def _own_names() -> frozenset[str]:
    return frozenset(bare(column) for columns in COLUMNS.values() for column in columns)


@lru_cache(maxsize=1)
def _by_begin() -> dict[str, set[tuple[tuple[str, ...], float]]]:
    """All names by how their words begin: one that begins with nothing of a text is not like it."""
    names = {
        one for feed in COLUMNS for column in COLUMNS[feed] for one in spoken_names(feed, column)
    }
    names |= {(words, 1.0) for words in other_names()}
    index: dict[str, set[tuple[tuple[str, ...], float]]] = {}
    for words, part in names:
        for begin in begins(words):
            index.setdefault(begin, set()).add((words, part))
    return index
