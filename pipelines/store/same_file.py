"""What was found out of a file, which holds as long as it is the same file and nobody changed it.

Belongs here: remembering it in this process. Does not belong here: what is found out.

Opening a store takes as long as many a step of a small refresh, which would ask twenty times.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

Answer = TypeVar("Answer")
_REMEMBERED: dict[tuple[str, str], tuple[tuple[int, ...], Any]] = {}


def once_a_file(path: Path, what: str, find: Callable[[], Answer]) -> Answer:
    """What `find` gives, called again only where the file is another or was written or its rights
    were changed since; neither an error nor a finding of nothing (False, empty) is remembered.

    Args:
        path: a file that is there.
        what: a name for what is found out of it.
    """
    key, before = (what, str(path)), _stamp(path)
    known = _REMEMBERED.get(key)
    if known is not None and known[0] == before:
        answer: Answer = known[1]
        return answer
    answer = find()
    if answer and _stamp(path) == before:  # else it was replaced: the next one looks again
        _REMEMBERED[key] = (before, answer)
    return answer


def _stamp(path: Path) -> tuple[int, ...]:
    """Which file it is, its length, and when content and rights were last changed."""
    status = path.stat()
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns
