"""What claim pages show, gathered before anybody asks, kept in little room.

Belongs here: keeping it, and giving it out only for what it was gathered from. Does not belong
here: who gathers it (`gathering_ahead`, `gathering_child`).
"""

from __future__ import annotations

import pickle
import threading
import zlib
from collections.abc import Mapping
from typing import Any

Key = tuple[object, ...]


def packed(content: Mapping[str, Any]) -> bytes:
    """The content of a page, a tenth as long."""
    return zlib.compress(pickle.dumps(dict(content)), 1)


class Ahead:
    """The content of pages by claim, all of one publication, day and files laid in."""

    def __init__(self) -> None:
        self._key: Key | None = None
        self._pages: dict[str, bytes] = {}
        self._lock = threading.Lock()

    def add(self, key: Key, pages: Mapping[str, bytes]) -> None:
        """Keeps what was gathered; what rests on anything else goes."""
        with self._lock:
            if key != self._key:
                self._key, self._pages = key, {}
            self._pages.update(pages)

    def content(self, key: Key, claim: str) -> Mapping[str, Any] | None:
        """The content of a claim's page; None where it was not gathered, or from something else."""
        with self._lock:
            page = self._pages.get(claim) if key == self._key else None
        if page is None:
            return None
        content: Mapping[str, Any] = pickle.loads(zlib.decompress(page))
        return content
