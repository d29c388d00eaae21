"""How commands speak: results on stdout, progress on stderr, JSON where it is asked for.

Belongs here: printing. Does not belong here: deciding what to print.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    import polars as pl


@contextmanager
def _heard(stream: TextIO) -> Iterator[TextIO]:
    """The stream; once nobody reads it (`limeledger … | head`), the rest goes nowhere.

    The command does its work all the same and keeps its exit code.
    """
    try:
        yield stream
        stream.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def progress(text: str) -> None:
    """One line of progress."""
    with _heard(sys.stderr) as stream:
        print(text, file=stream)


def print_json(value: Any) -> None:
    """A value as JSON on stdout; money as text with two decimals, days as ISO 8601."""
    with _heard(sys.stdout) as stream:
        json.dump(value, stream, ensure_ascii=False, indent=2, default=_plain)
        stream.write("\n")


def print_csv(table: pl.DataFrame) -> None:
    """A table as CSV, as those under published/: lists joined by `; `, no live formula."""
    from pipelines.records.harmless import harmless

    write(harmless(table).write_csv())


def write(text: str) -> None:
    """A result as it is."""
    with _heard(sys.stdout) as stream:
        stream.write(text)


def say(text: str) -> None:
    """One line of the result."""
    write(f"{text}\n")


def teller(as_json: bool) -> Callable[[str], None]:
    """Where human sentences go: stdout, or stderr where stdout carries JSON."""
    return progress if as_json else say


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no JSON form here")
