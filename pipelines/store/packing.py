"""Packs a file with gzip, on as many threads as there are cores.

Belongs here: the packed form of a file. Does not belong here: which files are packed
(`pipelines.store.publication`).
"""

from __future__ import annotations

import gzip
import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

# A packed file is a row of members of so many bytes; any reader of gzip takes them as one.
_MEMBER_BYTES = 4 * 2**20
# Higher levels take two to four times as long and save a fifth.
_LEVEL = 2


def pack(plain: Path, packed: Path) -> Path:
    """Writes `packed` with the bytes of `plain`, removes `plain`, and gives `packed` back.

    The same bytes always give the same file.
    """
    threads = os.cpu_count() or 1
    with plain.open("rb") as file, packed.open("wb") as out, ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[bytes]] = deque()
        for part in _parts(file):
            waiting.append(pool.submit(gzip.compress, part, _LEVEL, mtime=0))
            if len(waiting) > threads:  # no more of the file in memory than is being worked on
                out.write(waiting.popleft().result())
        for done in waiting:
            out.write(done.result())
    plain.unlink()
    return packed


def _parts(file: BinaryIO) -> Iterator[bytes]:
    while part := file.read(_MEMBER_BYTES):
        yield part
