"""What stands behind a count: the selection that the page of failures lists.

Belongs here: selections as they stand behind the `#` of that page's address, and cells that carry
one. Does not belong here: listing failures (`dashboards.pages.failures`, static/failures.js).
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Mapping
from typing import Any, NamedTuple
from urllib.parse import quote

from dashboards import formats

PAGE = "failures.html"
ALL = "all"
_NO_CHOICE = (None, "", ALL)
# A figure at m months is its value at so many days a month (field.md, Words).
DAYS_A_MONTH = 30.4375


class Linked(NamedTuple):
    """A cell that opens failures: its text, and what it selects."""

    text: str
    to: str


Cell = str | Linked


def selection(**values: Any) -> str:
    """`column=value` pairs joined by `&`, percent-encoded; empty values and `all` are left out."""
    pairs = (_pair(name, str(value)) for name, value in values.items() if value not in _NO_CHOICE)
    return "&".join(pairs)


@functools.lru_cache(maxsize=4096)  # tens of thousands of cells name a few hundred values
def _pair(name: str, text: str) -> str:
    return f"{name}={quote(text, safe='')}"


def of_row(row: Mapping[str, Any], **more: Any) -> str:
    """The failures of a row of a field table: the values of the dimensions in its `by`."""
    dims = [name for name in row["by"].split(",") if name != ALL]
    return selection(**{name: row[name] for name in dims}, **more)


def of_slice(row: Mapping[str, Any]) -> str:
    """The failures of a row of `slice_rates`: its dimensions and its event."""
    pairs = ((row["dimension_1"], row["value_1"]), (row["dimension_2"], row["value_2"]))
    values = {name: value for name, value in pairs if name != ALL}
    return selection(**values, event=event_of(row["event"]))


def event_of(event: str) -> str:
    """The event as a selection has it: `any` selects nothing apart."""
    return "" if event == "any" else event


def up_to(months: int) -> str:
    """The last day of age that counts at so many months."""
    return str(int(months * DAYS_A_MONTH))


def last_day(month: dt.date) -> dt.date:
    """The last day of a month."""
    return (month.replace(day=28) + dt.timedelta(days=4)).replace(day=1) - dt.timedelta(days=1)


def count(value: int | None, to: str) -> Cell:
    """A count that opens its failures."""
    return formats.whole(value) if value is None else Linked(formats.whole(value), to)


def link(**values: Any) -> str:
    """The address of the failures that have these values."""
    return f"{PAGE}#{selection(**values)}"
