"""How a column of any table is declared: pandera fields with meaning, unit and role.

Belongs here: the builders and the shared types. Does not belong here: tables (their own modules)
or checks that need another table.

A field's `metadata` carries what the readers, the data dictionary and the Table Schema need:
`kind` (how text becomes the value), `required`, `key`, `unit`, `words`, `references` (the column of
another table that it joins to) and `null` (what it means where it is empty).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import polars as pl

from schemas.validation import pa

if TYPE_CHECKING:
    # pandera reads polars types with parameters from annotations; a type checker cannot, and takes
    # them for types of their own, which serve as annotations and as dtypes.
    class MONEY(pl.Decimal): ...

    class HOURS(pl.Decimal): ...

    class CENTS(pl.Decimal): ...

    class TEXTS(pl.List): ...

    class CITATIONS(pl.List): ...

    class MOMENT(pl.Datetime): ...

    class MOVES(pl.List): ...
else:
    MONEY = pl.Decimal(18, 6)  # as written in an export
    HOURS = pl.Decimal(18, 10)  # spreadsheets write thirds of an hour with many digits
    CENTS = pl.Decimal(18, 2)  # what is decided or shown
    TEXTS = pl.List(pl.String)
    CITATIONS = pl.List(
        pl.Struct({"feed": pl.String, "key": pl.String, "file": pl.String, "line": pl.Int64})
    )
    MOVES = pl.List(pl.Struct({"condition": pl.String, "from": pl.String, "to": pl.String}))
    MOMENT = pl.Datetime("us")


def _field(
    kind: str,
    description: str,
    *,
    required: bool,
    key: bool = False,
    unit: str | None = None,
    words: Sequence[str] | None = None,
    signed: bool = False,
    references: str | None = None,
    null: str | None = None,
    **checks: Any,
) -> Any:
    metadata = {
        "kind": kind,
        "required": required,
        "key": key,
        "unit": unit,
        "words": list(words) if words else None,
        "signed": signed,
        "references": references,
        "null": null,
    }
    return pa.Field(nullable=not required, description=description, metadata=metadata, **checks)


def text(description: str, *, required: bool = False, key: bool = False, **checks: Any) -> Any:
    """Free text; an identifier where it is a key."""
    return _field("text", description, required=required, key=key, **checks)


def serial_number(description: str, *, required: bool = False, key: bool = False) -> Any:
    """A unit's serial: upper case, without spaces, dashes, dots and slashes."""
    return _field("serial", description, required=required, key=key)


def word(
    description: str,
    words: Sequence[str],
    *,
    required: bool = False,
    key: bool = False,
    alias: str | None = None,
) -> Any:
    """One of a short list of words, read in any case; `alias` where Python has no such name."""
    checks: dict[str, Any] = {"isin": list(words), "alias": alias}
    return _field("word", description, required=required, key=key, words=words, **checks)


def region_code(description: str, *, required: bool = False, key: bool = False) -> Any:
    """An ISO 3166-2 code of a country's part, read in any case."""
    return _field(
        "region",
        description,
        required=required,
        key=key,
        str_matches=r"^[A-Z]{2}-[A-Z0-9]{1,3}$",
    )


def day(description: str, *, required: bool = False, key: bool = False) -> Any:
    """A calendar day."""
    return _field("day", description, required=required, key=key)


def moment(description: str, *, required: bool = False, key: bool = False) -> Any:
    """A date and time, in the workspace's time zone."""
    return _field("moment", description, required=required, key=key)


def number(
    description: str, unit: str | None = None, *, required: bool = False, **checks: Any
) -> Any:
    """A measured or computed number, with its unit."""
    return _field("number", description, required=required, unit=unit, **checks)


def analyte(description: str, unit: str | None) -> Any:
    """A laboratory result, which may arrive as a non-detect (`<0.05`)."""
    return _field("analyte", description, required=False, unit=unit)


def integer(
    description: str,
    *,
    required: bool = False,
    key: bool = False,
    unit: str | None = None,
    references: str | None = None,
    **checks: Any,
) -> Any:
    """A whole number."""
    return _field(
        "integer",
        description,
        required=required,
        key=key,
        unit=unit,
        references=references,
        **checks,
    )


def money(description: str, *, required: bool = False) -> Any:
    """An exact amount of money in the workspace's currency, never negative."""
    return _field("money", description, required=required, unit="currency", ge=0)


def signed_money(description: str, *, required: bool = False, key: bool = False) -> Any:
    """An exact amount of money that may be below zero: what is taken back, or a difference."""
    return _field("money", description, required=required, key=key, unit="currency", signed=True)


def hours(description: str, *, required: bool = False) -> Any:
    """Exact hours, never negative."""
    return _field("hours", description, required=required, unit="h", ge=0)


def flag(description: str, *, required: bool = False) -> Any:
    """Yes or no; empty means not known."""
    return _field("flag", description, required=required)


def texts(description: str, *, required: bool = False, words: Sequence[str] | None = None) -> Any:
    """A list of words or sentences."""
    return _field("texts", description, required=required, words=words)


def citations(description: str, *, required: bool = False) -> Any:
    """A list of the records that something rests on: feed, key, file and line of each."""
    return _field("citations", description, required=required)


def moves(description: str) -> Any:
    """A list of conditions, each with the outcome that it moved from and to."""
    return _field("moves", description, required=False)


class Table(pa.DataFrameModel):
    """One table: its docstring's first sentence says what one row is."""

    class Config:
        strict = True
        ordered = False


def fields(table: type[pa.DataFrameModel]) -> dict[str, pa.Column]:
    """Every column of a table class, in order, with description and metadata."""
    return dict(table.to_schema().columns)


def column_names(table: type[pa.DataFrameModel], *, kind: str | None = None) -> list[str]:
    """The table's columns in order; only those of one kind where that is given."""
    return [
        name
        for name, column in fields(table).items()
        if kind is None or (column.metadata or {}).get("kind") == kind
    ]


def key_columns(table: type[pa.DataFrameModel]) -> list[str]:
    """The columns that identify a row."""
    return [name for name, column in fields(table).items() if (column.metadata or {}).get("key")]


def required_columns(table: type[pa.DataFrameModel]) -> list[str]:
    """The columns that must hold a value in every row."""
    return [
        name for name, column in fields(table).items() if (column.metadata or {}).get("required")
    ]


@cache
def polars_schema(table: type[pa.DataFrameModel]) -> pl.Schema:
    """The table's columns and polars types, for building frames (also empty ones).

    Every caller has the same one, and changes only a copy of it.
    """
    return pl.Schema({name: column.dtype.type for name, column in fields(table).items()})
