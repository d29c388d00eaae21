"""The disk and the machine as the cause of an error: the sentence that says so, and the way out.

Belongs here: telling such errors from faults of the tool. Does not belong here: reporting either
(`pipelines.cli.console.faults`), or stores that cannot be opened (`database`).
"""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import duckdb
import polars as pl

from pipelines.errors import StorageError

_FULL = (errno.ENOSPC, errno.EDQUOT)
_NO_PLACE = (errno.EBUSY, errno.EXDEV)
_OTHER_THING = (errno.EISDIR, errno.ENOTDIR, errno.EEXIST, errno.ELOOP)
_NOT_ALLOWED = (errno.EROFS, errno.EACCES, errno.EPERM)
_LIMITS = (errno.EFBIG, errno.EMFILE, errno.ENFILE, errno.EIO, errno.ENAMETOOLONG)
# DuckDB and polars tell the system's error in its own words, and DuckDB the file before them.
_BY_WORDS = {
    os.strerror(code): code for code in (*_FULL, *_OTHER_THING[:2], *_NOT_ALLOWED, *_LIMITS)
}
_NAMED_FILE = re.compile(r'file "([^"\n]+)"')


def storage_fault(error: BaseException, where: Path) -> StorageError | None:
    """The sentence for a disk that is full or may not be used, for memory that is short, or for a
    limit of the system; None for any other error."""
    code = error.errno if isinstance(error, OSError) else _code_in_words(error)
    in_words = _NAMED_FILE.search(str(error)) if isinstance(error, duckdb.Error) else None
    what = getattr(error, "filename", None) or (in_words[1] if in_words else where)
    reason = os.strerror(code) if code else ""
    if code in _FULL:
        return StorageError(
            f"{where}: the disk is full. Free some space and refresh again; "
            "the store and the published pages are as they were."
        )
    if code in _NO_PLACE:
        return StorageError(
            f"{what}: nothing can be put in its place ({reason}). The folder "
            "published may be no mount of its own: mount the workspace as a whole; "
            "nothing was changed."
        )
    if code in _OTHER_THING:
        return StorageError(
            f"{what}: something else lies in its place ({reason}). Move that away and "
            "try again; nothing was changed."
        )
    if code in _NOT_ALLOWED:
        may_not = "be written" if code == errno.EROFS else "be read or written"
        return StorageError(
            f"{what}: cannot {may_not} ({reason}). "
            "Give this user write access to the workspace and to the folders store and published "
            "in it; nothing was changed."
        )
    if code in _LIMITS:
        return StorageError(
            f"{what}: the system does not do it ({reason}). Look at the disk and at the limits "
            "that `ulimit -a` tells, and try again; the store and the published pages are as they "
            "were."
        )
    if _lacks_memory(error) or code == errno.ENOMEM:
        return StorageError(
            f"{where}: there is too little memory for it. Give it more, or end what else needs "
            "much, and try again; the store and the published pages are as they were."
        )
    return None


def _lacks_memory(error: BaseException) -> bool:
    """Whether the machine has too little; where DuckDB's own bound is used up, which we set and
    more memory does not raise, it says how much of it was used."""
    by_own_bound = isinstance(error, duckdb.OutOfMemoryException) and " used)" in str(error)
    return isinstance(error, MemoryError | duckdb.OutOfMemoryException) and not by_own_bound


def _code_in_words(error: BaseException) -> int | None:
    text = str(error)
    if "No space left" in text:
        return errno.ENOSPC
    if not isinstance(error, duckdb.Error | pl.exceptions.PolarsError):
        return None
    return next((code for words, code in _BY_WORDS.items() if words in text), None)
