"""How commands speak: results on stdout, progress on stderr, JSON where it is asked for.

Belongs here: printing. Does not belong here: deciding what to print.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from io import TextIOWrapper
from typing import TYPE_CHECKING, Any, TextIO

from pipelines.errors import StorageError

if TYPE_CHECKING:
    import polars as pl

    from schemas.columns import Table

_CENT = Decimal("0.01")
# Characters that move a terminal's cursor, color it, or turn the order of what it shows.
_TURNING = (0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))
_UNSEEN = {
    **{code: chr(0x2400 + code) for code in range(32) if chr(code) not in "\t\n"},
    **{code: f"\\u{code:04x}" for code in (*range(0x7F, 0xA0), *_TURNING)},
}


@contextmanager
def _heard(stream: TextIO) -> Iterator[TextIO]:
    """The stream; once nobody reads it (`limeledger … | head`), the rest goes nowhere.

    The command does its work all the same and keeps its exit code.

    Raises:
        StorageError: what the stream leads to takes no more, such as a file on a full disk.
    """
    try:
        yield stream
        stream.flush()
    except BrokenPipeError:
        _to_nowhere(stream)
    except OSError as error:
        _to_nowhere(stream)
        raise StorageError(
            f"What the command says could not be written to where its output leads "
            f"({error.strerror or error}); free space there, or lead it elsewhere. What the "
            "command has done is done."
        ) from None


def _to_nowhere(stream: TextIO) -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def make_streams_fit(*, for_programs: bool) -> None:
    """Lets the streams take every text, whatever the environment says of their encoding.

    For people a character that the terminal does not have becomes `?`. What programs read is UTF-8
    everywhere, and what no text can hold stands in it as JSON escapes it. A stream that was closed
    leads nowhere; else the next file opened would take its number.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            if for_programs and stream is sys.stdout:
                stream.reconfigure(encoding="utf-8", errors="backslashreplace")
            else:
                stream.reconfigure(errors="replace")


def progress(text: str) -> None:
    """One line of progress; where nothing more can be written to, the work goes on without."""
    with contextlib.suppress(StorageError), _heard(sys.stderr) as stream:
        print(visible(text), file=stream)


def print_json(value: Any) -> None:
    """A value as JSON on stdout; money as text with two decimals, days as ISO 8601.

    Nothing is printed of a value that has no form in JSON, such as an infinite number.
    """
    text = json.dumps(value, ensure_ascii=False, indent=2, default=_plain, allow_nan=False)
    write(f"{visible(text)}\n")  # JSON escapes the others itself


def json_rows(table: type[Table], frame: pl.DataFrame) -> list[dict[str, Any]]:
    """The rows of a frame for JSON, by exactly the columns of its table class.

    Estimates of money become amounts, as the money is that they estimate; a number without a
    finite value becomes null.
    """
    import polars as pl

    from schemas.columns import fields
    from schemas.json_schema import is_money

    columns = []
    for name, column in fields(table).items():
        value = pl.col(name)
        if frame.schema[name].is_float():
            value = pl.when(value.is_finite()).then(value)
            if is_money(column.metadata):
                value = value.round(2, mode="half_away_from_zero").cast(pl.Decimal(38, 2))
        columns.append(value.alias(name))
    return frame.select(columns).to_dicts()


def print_csv(table: pl.DataFrame) -> None:
    """A table as CSV, as those under published/: lists joined by `; `, no live formula."""
    from pipelines.records.harmless import harmless

    write(harmless(table).write_csv())


def write(text: str) -> None:
    """A result as it is."""
    with _heard(sys.stdout) as stream:
        stream.write(text)


def say(text: str) -> None:
    """One line of the result, for people."""
    write(f"{visible(text)}\n")


def visible(text: str) -> str:
    """The text with control characters shown (`\u241b` for escape), which values may hold.

    An export's value may not write on a terminal but as itself.
    """
    return text.translate(_UNSEEN)


def teller(as_json: bool) -> Callable[[str], None]:
    """Where human sentences go: stdout, or stderr where stdout carries JSON."""
    return progress if as_json else say


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return str(value.quantize(_CENT, ROUND_HALF_UP))
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no JSON form here")
