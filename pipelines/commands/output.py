"""How commands speak: results on stdout, progress on stderr, JSON where it is asked for.

Belongs here: printing. Does not belong here: deciding what to print.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import polars as pl


def progress(text: str) -> None:
    """One line of progress."""
    print(text, file=sys.stderr, flush=True)


def print_json(value: Any) -> None:
    """A value as JSON on stdout; money as text with two decimals, days as ISO 8601."""
    json.dump(value, sys.stdout, ensure_ascii=False, indent=2, default=_plain)
    sys.stdout.write("\n")


def print_csv(table: pl.DataFrame) -> None:
    """A table as CSV, as those under published/: lists joined by `; `, no live formula."""
    from pipelines.records.harmless import harmless

    sys.stdout.write(harmless(table).write_csv())


def say(text: str) -> None:
    """One line of the result."""
    print(text)


def teller(as_json: bool) -> Callable[[str], None]:
    """Where human sentences go: stdout, or stderr where stdout carries JSON."""
    return progress if as_json else say


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no JSON form here")
