"""Tables for the terminal: one line a row, as wide as it is.

Belongs here: laying values out. Does not belong here: which rows and columns there are.
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import polars as pl

NONE = "–"
_GAP = "  "
# What is left out last where a table is too wide: counts before limits, and what tells a row apart
# not at all.
_LIMITS = ("low", "high", "robust_low", "robust_high")
_AGES = ("months", "bin", "days")
_COUNTS = ("failures", "units", "at_risk", "unit_years", "rate_per_100", "ratio", *_LIMITS)
# What a figure is about, before other numbers such as those expected.
_ESTIMATES = ("rate_per_100", "ratio", "adjusted_ratio")


def width() -> int:
    """COLUMNS, else the terminal's, else 80."""
    columns = os.environ.get("COLUMNS", "")
    if columns.isdecimal() and int(columns) > 0:
        return int(columns)
    return shutil.get_terminal_size((80, 24)).columns


def table_lines(table: pl.DataFrame, within: int) -> list[str]:
    """The table's lines: header, rows, and one that names what did not fit.

    Numbers stand to the right, to three significant digits, counts whole; what is not known is
    a dash. Columns that do not fit are left out from the right, counts and limits last.
    """
    columns = {name: [_text(value) for value in table[name]] for name in table.columns}
    sizes = {
        name: max([len(name), *(len(value) for value in values)])
        for name, values in columns.items()
    }
    shown = list(table.columns)
    for name in _leave_first(table):
        if _width([sizes[kept] for kept in shown]) <= within or len(shown) == 1:
            break
        shown.remove(name)
    to_right = {name for name in shown if table.schema[name].is_numeric()}
    lines = [_line({name: name for name in shown}, sizes, to_right, within)]
    for place in range(table.height):
        row = {name: columns[name][place] for name in shown}
        lines.append(_line(row, sizes, to_right, within))
    gone = [name for name in table.columns if name not in shown]
    return [*lines, *_not_shown(gone, within)]


def _not_shown(gone: Sequence[str], within: int) -> list[str]:
    """A line that names what is left out; as many as it takes to name all of it."""
    lines: list[str] = []
    for name in gone:
        if lines and len(lines[-1]) + len(name) + 3 <= within:
            lines[-1] += f", {name}"
        else:
            lines.append(f"Not shown: {name}")
    return [_cut(f"{line}.", within) for line in lines]


def _leave_first(table: pl.DataFrame) -> list[str]:
    """Columns in the order in which they are left out."""
    names = table.columns
    apart = _telling_apart(table)
    floats = [name for name in names if table.schema[name].is_float() and name not in apart]
    about = [name for name in floats if name in _ESTIMATES]
    estimate = next(iter([*about, *floats]), None)
    kept = {*_COUNTS, *apart, *([estimate] if estimate else [])}
    limits = [name for name in names if name in _LIMITS]
    last = dict.fromkeys(("failures", estimate))  # of a forecast the failures are the estimate
    counts = [name for name in last if name in names and name not in apart]
    counts += [name for name in names if name in kept and name not in (*last, *limits, *apart)]
    others = [name for name in names if name not in kept]
    return [*reversed(others), *reversed(limits), *reversed(counts), *reversed(apart)]


def _telling_apart(table: pl.DataFrame) -> list[str]:
    """The leading columns of words and days, and whole months: they tell a row from the others."""
    apart = []
    for name, kind in table.schema.items():
        if kind not in (pl.String, pl.Date) and name not in _AGES:
            break
        apart.append(name)
    return apart


def _width(sizes: Sequence[int]) -> int:
    return sum(sizes) + len(_GAP) * (len(sizes) - 1)


def _line(row: dict[str, str], sizes: dict[str, int], to_right: set[str], within: int) -> str:
    cells = [
        text.rjust(sizes[name]) if name in to_right else text.ljust(sizes[name])
        for name, text in row.items()
    ]
    return _cut(_GAP.join(cells).rstrip(), within)


def _cut(line: str, within: int) -> str:
    return line if len(line) <= within else line[: max(within - 1, 0)] + "…"


def _text(value: Any) -> str:
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, Decimal):
        return f"{value:,.2f}"
    if isinstance(value, list | pl.Series):
        return "+".join(str(item) for item in value) or NONE
    if isinstance(value, dt.date):
        return value.isoformat()
    return " ".join(str(value).split())


def _number(value: float) -> str:
    """Three significant digits; whole where they are a thousand or more."""
    if value == 0 or value != value:
        return "0" if value == 0 else NONE
    text = f"{value:.3g}"
    return f"{float(text):,.0f}" if "e+" in text or abs(value) >= 1000 else text
