"""Append-only logs of JSON objects, one a line.

Belongs here: adding lines so that they are on the disk, and reading them back. Does not belong
here: what the lines say (`pipelines.store.run_log`), or logs in CSV (`append_log`).
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.workspace.permissions import open_private


@dataclass(frozen=True)
class JsonLines:
    """A log that is held: nobody else appends until it is let go."""

    descriptor: int

    def append(self, line: Mapping[str, Any]) -> None:
        """Adds one line and flushes it to the disk.

        A last line that was cut off, by a full disk or a lost power supply, keeps its own line.

        Raises:
            OSError: the disk is full or cannot be written; part of the line may stand there.
        """
        size = os.fstat(self.descriptor).st_size
        cut_off = size > 0 and os.pread(self.descriptor, 1, size - 1) != b"\n"
        # ASCII alone, so that no text of ours can look like the end of a line.
        text = "\n" * cut_off + json.dumps(line) + "\n"
        left = text.encode("ascii")
        while left:
            left = left[os.write(self.descriptor, left) :]
        os.fsync(self.descriptor)

    def tail(self, most_bytes: int) -> list[dict[str, Any]]:
        """The objects on the last lines; a line that holds none is passed over."""
        return _tail(self.descriptor, most_bytes)


@contextmanager
def held(path: Path) -> Iterator[JsonLines]:
    """Opens a log to append to, made where it is missing, and keeps others from appending.

    Raises:
        OSError: it cannot be opened for writing.
    """
    descriptor = open_private(path, os.O_RDWR | os.O_CREAT | os.O_APPEND)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield JsonLines(descriptor)
    finally:
        os.close(descriptor)


def read_tail(path: Path, most_bytes: int) -> list[dict[str, Any]]:
    """The objects on the last lines of a log; none where it is missing or may not be read."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return []
    try:
        return _tail(descriptor, most_bytes)
    except OSError:  # a folder, or a pipe
        return []
    finally:
        os.close(descriptor)


def _tail(descriptor: int, most_bytes: int) -> list[dict[str, Any]]:
    start = max(0, os.fstat(descriptor).st_size - most_bytes)
    lines = os.pread(descriptor, most_bytes, start).split(b"\n")
    records = []
    for line in lines[1:] if start else lines:
        with contextlib.suppress(ValueError, RecursionError):
            record = json.loads(line)
            if isinstance(record, dict):
                records.append(record)
    return records
