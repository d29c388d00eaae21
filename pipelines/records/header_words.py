"""Headers as people are told of them.

Belongs here: a list of headers, and those that come near to what was sought. Does not belong here:
which headers a feed or a join needs (`headers`, `join_headers`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rapidfuzz import fuzz, process

from pipelines.exports.header_rows import bare
from pipelines.records.entries import shown_header

_NEAREST = 3
_LONGEST = 60  # characters of a header that are shown


def listed(names: Sequence[str]) -> str:
    """Headers in quotes."""
    return " or ".join(f'"{_on_one_line(name)}"' for name in names)


def nearest(sought: Sequence[str], header: Sequence[str]) -> str:
    """The headers that come nearest to what was sought, as a clause."""
    names = [name for name in _numbered(header) if name.strip()]
    if not names:
        return "it has no headers"
    near: list[str] = []
    for name in sought:
        matches = process.extract(
            bare(name), names, scorer=fuzz.WRatio, processor=bare, limit=_NEAREST
        )
        near += [header for header, _, _ in matches if header not in (*near, name)]
    if not near:
        return "no other header comes near"
    shown = ", ".join(f'"{_on_one_line(name)}"' for name in near[: _NEAREST * 2])
    return f"the nearest headers found are {shown}"


def _numbered(header: Sequence[str]) -> list[str]:
    """Headers as a mapping names them: the second of equal ones is `Text#2`."""
    seen: Counter[str] = Counter()
    names = []
    for name in header:
        seen[bare(name)] += 1
        times = seen[bare(name)]
        names.append(name if times == 1 or not name.strip() else f"{name}#{times}")
    return names


def _on_one_line(name: str) -> str:
    """A header as people write it, cut where it is long: a file may hold a page there."""
    text = " ".join(shown_header(name).split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}…"
