"""Letters of no claim, by which a company's templates are tried before they are used.

Belongs here: values of every type that a letter can have, full and empty. Does not belong here:
letters of claims.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import polars as pl

from schemas.codes import RULINGS, VERDICTS
from schemas.letters import LETTERS
from schemas.unit_letters import KINDS, UNIT_LETTERS

# What no letter lacks.
ALWAYS = (
    "claim",
    "call",
    "serial",
    "verdict",
    "standing",
    "failed_on",
    "decision",
    "basis",
    "appeal",
    "title",
    "opening",
    "asks",
)


def examples() -> list[dict[str, Any]]:
    """One full and one bare letter for each verdict, and for each ruling."""
    made = []
    for standing in VERDICTS:
        for ruling in (None, standing) if standing in RULINGS else (None,):
            for full in (True, False):
                made.append(_example(full) | {"standing": standing, "ruling": ruling})
    return made


def unit_examples() -> list[dict[str, Any]]:
    """One full and one bare letter of each kind about a unit."""
    return [
        {name: _value(name, column, full) for name, column in UNIT_LETTERS.items()} | {"kind": kind}
        for kind in KINDS
        for full in (True, False)
    ]


def _example(full: bool) -> dict[str, Any]:
    return {name: _value(name, kind, full) for name, kind in LETTERS.items()}


def _value(name: str, kind: Any, full: bool) -> Any:
    if kind == pl.List(pl.String):
        return ["One sentence of 31 January 2026."] if full else []
    if isinstance(kind, pl.Decimal):
        return Decimal("1234.50") if full else Decimal("0.00")
    if kind == pl.Boolean:
        return full
    if not full and name not in ALWAYS:
        return None
    if kind == pl.Date:
        return dt.date(2026, 1, 31)
    return "covered" if name == "verdict" else f"example of {name}"
