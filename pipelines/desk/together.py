"""What several ask for at the same time, made in one go for all of them.

Belongs here: who makes, who waits, and what becomes of a fault. Does not belong here: what is made.

Where most of the work is the same for one and for twenty, whoever comes while it is being done
waits for the next go and has a part in it. Nobody waits for more than the go in hand and the own
one, however many there are, up to `MOST` in a go.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from itertools import islice
from typing import Generic, TypeVar

MOST = 40

Made = TypeVar("Made")


class Together(Generic[Made]):
    """Makes things by name, one go at a time, each for all who wait when it begins."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._waiting: dict[str, Future[Made]] = {}
        self._asking, self._making = threading.Lock(), threading.Lock()

    def of(self, name: str, make: Callable[[Sequence[str]], Mapping[str, Made]]) -> Made:
        """The thing of that name, as `make` makes it after this was called.

        Raises:
            Exception: what `make` raised for this name alone.
        """
        with self._asking:
            mine = self._waiting.setdefault(name, Future())
        while not mine.done():
            with self._making:
                if not mine.done():
                    self._go(make)
        return mine.result()

    @property
    def waiting(self) -> int:
        """How many names no go has taken up yet."""
        with self._asking:
            return len(self._waiting)

    def _go(self, make: Callable[[Sequence[str]], Mapping[str, Made]]) -> None:
        """One go for those who have waited longest."""
        with self._asking:
            batch = dict(islice(self._waiting.items(), self._most))
            for name in batch:
                del self._waiting[name]
        try:
            made = make(list(batch))
        except BaseException as fault:
            if len(batch) == 1 or not isinstance(fault, Exception):
                for future in batch.values():
                    future.set_exception(fault)
                return
            for name, future in batch.items():  # one that cannot be made is no other's fault
                _alone(name, future, make)
            return
        for name, future in batch.items():
            future.set_result(made[name])


def _alone(
    name: str, future: Future[Made], make: Callable[[Sequence[str]], Mapping[str, Made]]
) -> None:
    try:
        future.set_result(make([name])[name])
    except Exception as fault:
        future.set_exception(fault)
