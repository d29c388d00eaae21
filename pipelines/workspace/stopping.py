"""Ctrl-C and SIGTERM: what they end cleans up behind itself, and is said to have been stopped.

Belongs here: hearing them. Does not belong here: what is cleaned up, or what is said.

A library that looks for signals within a call (DuckDB's queries do) ends it with an error of its
own in the place of KeyboardInterrupt: so that one was heard is remembered.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_heard = {"stop": False}


def listen() -> None:
    """Remembers Ctrl-C from now on, beside raising it as Python does by itself."""
    _heard["stop"] = False
    is_own = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if is_own and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, _stop)


@contextmanager
def stopped_by_hand() -> Iterator[None]:
    """A request to end the process (SIGTERM) is Ctrl-C within."""
    if threading.current_thread() is not threading.main_thread():
        yield  # signals come to the main thread alone
        return
    before = signal.signal(signal.SIGTERM, _stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def stops_as_such() -> Iterator[None]:
    """An error that comes of being stopped is KeyboardInterrupt outside."""
    try:
        yield
    except Exception as error:
        if _heard["stop"]:
            raise KeyboardInterrupt from error
        raise


def _stop(number: int, frame: FrameType | None) -> None:
    del number, frame
    _heard["stop"] = True
    raise KeyboardInterrupt
