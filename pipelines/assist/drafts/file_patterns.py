"""Patterns under which a mapping goes on to serve what comes after a file, such as next year's.

Belongs here: names of files and sheets. Does not belong here: what stands in them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipelines.records.globs import fits

_DAY_FORMS = (
    (r"(?<![0-9])(?:19|20)[0-9]{6}(?![0-9])", "%Y%m%d"),
    (r"(?<![0-9])[0-9]{2}\.[0-9]{2}\.(?:19|20)[0-9]{2}(?![0-9])", "%d.%m.%Y"),
    (r"(?<![0-9])(?:19|20)[0-9]{2}_[0-9]{2}_[0-9]{2}(?![0-9])", "%Y_%m_%d"),
    (r"(?<![0-9])(?:19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}(?![0-9])", None),
)


def pattern_of(below: str | None, shown: str) -> tuple[str, str | None]:
    """A pattern of a file and of those that will come after it, and how it writes its day.

    Args:
        below: its path below exports/; None where it lies elsewhere.
        shown: its name for people.
    """
    path = below or shown.rpartition("/")[2]
    folder, slash, name = path.rpartition("/")
    stem, dot, suffix = name.rpartition(".")
    form = None
    for pattern, written_as in _DAY_FORMS:
        if re.search(pattern, stem):
            form = written_as
            break
    general = re.sub(r"[0-9]+(?:[-_. ]*[0-9]+)*", "*", stem)
    general = re.sub(r"\*+", "*", general)
    if not re.search(r"[^\W\d_]{2}", general):
        general = stem
    escaped = re.sub(r"[?\[\]]", "?", f"{general}{dot}{suffix}")
    return (f"{folder}{slash}{escaped}" if below else f"**/{escaped}"), form


def sheet_patterns(names: Sequence[str], others: Sequence[str]) -> list[str]:
    """The sheets as a mapping names them: those of several years as the next year's will be called.

    Args:
        names: the sheets.
        others: those of other headers, which no pattern may be for.
    """
    patterns: dict[str, list[str]] = {}
    for name in names:
        plain = re.sub(r"[*?]", "?", name)
        year = re.sub(r"(?<![0-9])20[0-9]{2}(?![0-9])", "20*", plain)
        patterns.setdefault(year, []).append(plain)
    return [
        one
        for pattern, plain in patterns.items()
        for one in ([pattern] if len(plain) > 1 and not _fits_any(pattern, others) else plain)
    ]


def _fits_any(pattern: str, names: Sequence[str]) -> bool:
    return any(fits([pattern], name) for name in names)
