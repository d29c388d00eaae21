"""Hashes of files, so that one that has not changed is not read twice.

Belongs here: the hash, and when one that is known still holds. Does not belong here: which files
are hashed (`pipelines.store.states`).
"""

from __future__ import annotations

import os
import time
from pathlib import Path

from pipelines.exports.delivery import sha256_of

_Stamp = tuple[int, int, int, int]
# A file may change twice within one tick of the disk's clock: a hash that was taken so soon after
# the last change is not trusted again.
_SETTLED_NS = 2_000_000_000
_known: dict[str, tuple[_Stamp, str]] = {}


def hash_of(path: Path) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal.

    A file whose size, inode and times are those at which it was hashed before is not read again.

    Raises:
        OSError: it cannot be read.
    """
    key = str(path)
    stamp = _stamp(path)
    known = _known.get(key)
    if known is not None and known[0] == stamp:
        return known[1]
    # The clock that the disk goes by, also where another moment is given for what is decided.
    begun = time.clock_gettime_ns(time.CLOCK_REALTIME)
    sha256 = sha256_of(path)
    if _stamp(path) == stamp and begun - max(stamp[2:]) > _SETTLED_NS:
        _known[key] = (stamp, sha256)
    else:
        _known.pop(key, None)
    return sha256


def _stamp(path: Path) -> _Stamp:
    status = os.stat(path)
    return status.st_size, status.st_ino, status.st_mtime_ns, status.st_ctime_ns
