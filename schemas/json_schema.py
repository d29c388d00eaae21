"""JSON Schema (2020-12) of what programs read: table classes as rows, and words for the rest.

Belongs here: how a day, an amount or a row of a table is described. Does not belong here: what a
command prints (each describes its own).

Objects list all of their keys as required and allow no others. Whatever is money is a string with
two decimals, as exact in JSON as it is in the tables.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from schemas.columns import Table, fields

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_DAY = r"^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
_TIME = r"([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{6})?"
_MOMENT = rf"{_DAY[1:-1]}T{_TIME}"
_OFFSET = "(Z|[+-][0-9]{2}:[0-9]{2})"
_UNSIGNED = r"^(0|[1-9][0-9]*)\.[0-9]{2}$"
_SIGNED = r"^-?(0|[1-9][0-9]*)\.[0-9]{2}$"
SHA256 = r"^[0-9a-f]{64}$"


def text(description: str, pattern: str | None = None) -> Schema:
    """Text; by a pattern where it has one."""
    return _described(description, {"type": "string"} | ({"pattern": pattern} if pattern else {}))


def word(description: str, words: Iterable[str]) -> Schema:
    """One of a list of words."""
    return _described(description, {"type": "string", "enum": list(words)})


def day(description: str) -> Schema:
    """A calendar day."""
    return _described(description, {"type": "string", "format": "date", "pattern": _DAY})


def moment(description: str) -> Schema:
    """A date and time without an offset: in the workspace's time zone, or UTC where it says so."""
    return _described(description, {"type": "string", "pattern": rf"^{_MOMENT}$"})


def moment_with_offset(description: str) -> Schema:
    """A date and time with its offset from UTC."""
    form = {"type": "string", "format": "date-time", "pattern": rf"^{_MOMENT}{_OFFSET}$"}
    return _described(description, form)


def moment_as_typed(description: str) -> Schema:
    """A date and time with an offset, or in the workspace's time zone without one."""
    return _described(description, {"type": "string", "pattern": rf"^{_MOMENT}({_OFFSET})?$"})


def amount(description: str, *, signed: bool = False) -> Schema:
    """Money: a string with two decimals; below zero only where it is signed."""
    return _described(description, {"type": "string", "pattern": _SIGNED if signed else _UNSIGNED})


def number(description: str, *, least: float | None = None, most: float | None = None) -> Schema:
    """A measured or computed number."""
    return _described(description, {"type": "number"} | _bounds(least, most))


def integer(description: str, *, least: int | None = 0, most: int | None = None) -> Schema:
    """A whole number; a count unless `least` says otherwise."""
    return _described(description, {"type": "integer"} | _bounds(least, most))


def flag(description: str) -> Schema:
    """Yes or no."""
    return _described(description, {"type": "boolean"})


def listing(description: str, items: Schema) -> Schema:
    """A list of items of one kind."""
    return _described(description, {"type": "array", "items": items})


def texts(description: str, words: Iterable[str] | None = None) -> Schema:
    """A list of texts; of words where they are given."""
    items: Schema = {"type": "string"} | ({"enum": list(words)} if words else {})
    return listing(description, items)


def record(properties: Mapping[str, Schema], description: str | None = None) -> Schema:
    """An object with exactly these keys."""
    form = {
        "type": "object",
        "properties": dict(properties),
        "required": list(properties),
        "additionalProperties": False,
    }
    return form if description is None else _described(description, form)


def counts(description: str, words: Iterable[str]) -> Schema:
    """An object of counts by word; a word that did not occur may be absent."""
    form = {
        "type": "object",
        "properties": {name: integer(f"How many are {name}.") for name in words},
        "additionalProperties": False,
    }
    return _described(description, form)


def or_null(schema: Schema) -> Schema:
    """The same, or null."""
    if not isinstance(schema.get("type"), str):
        kept = {name: schema[name] for name in ("description",) if name in schema}
        rest = {name: part for name, part in schema.items() if name != "description"}
        return kept | {"anyOf": [rest, {"type": "null"}]}
    nullable = schema | {"type": [schema["type"], "null"]}
    if "enum" in schema:
        nullable["enum"] = [*schema["enum"], None]
    return nullable


def one_of(schemas: Sequence[Schema]) -> Schema:
    """Exactly one of several forms."""
    return {"oneOf": list(schemas)}


def properties_of(table: type[Table], *, without: Collection[str] = ()) -> dict[str, Schema]:
    """A table's columns as properties of an object, by what its class says of them."""
    return {name: _column(column) for name, column in fields(table).items() if name not in without}


def row_of(
    table: type[Table], description: str | None = None, *, without: Collection[str] = ()
) -> Schema:
    """One row of a table as an object."""
    return record(properties_of(table, without=without), description)


def rows_of(table: type[Table], description: str, *, without: Collection[str] = ()) -> Schema:
    """Rows of a table as a list of objects."""
    return listing(description, row_of(table, without=without))


def is_money(metadata: Mapping[str, Any] | None) -> bool:
    """Whether a column counts money, exact or estimated: both are amounts in JSON."""
    return (metadata or {}).get("unit") == "currency"


def _column(column: Any) -> Schema:
    metadata = column.metadata or {}
    bounds = {
        name: check.statistics[name]
        for check in column.checks
        for name in ("min_value", "max_value")
        if name in (check.statistics or {})
    }
    description = column.description
    if is_money(metadata):
        form = amount(description, signed="min_value" not in bounds)
    elif metadata.get("kind") == "moment":
        form = moment(description)
    else:
        form = _described(description, _type(column.dtype.type, metadata.get("words")))
        if form["type"] in ("integer", "number"):
            form |= _bounds(bounds.get("min_value"), bounds.get("max_value"))
        patterns = [c.statistics["pattern"] for c in column.checks if "pattern" in c.statistics]
        if form["type"] == "string" and patterns:
            form["pattern"] = str(getattr(patterns[0], "pattern", patterns[0]))
        if metadata.get("unit"):
            form["description"] = f"{description} ({metadata['unit']})"
    return form if metadata.get("required") else or_null(form)


def _type(dtype: Any, words: Sequence[str] | None) -> Schema:
    if isinstance(dtype, pl.List):
        return {"type": "array", "items": _type(dtype.inner, words)}
    if isinstance(dtype, pl.Struct):
        return record(
            {f.name: _described(_part(f.name), _type(f.dtype, None)) for f in dtype.fields}
        )
    if dtype == pl.Date:
        return {"type": "string", "format": "date", "pattern": _DAY}
    if dtype == pl.Boolean:
        return {"type": "boolean"}
    if dtype.is_integer():
        return {"type": "integer"}
    if dtype.is_float():
        return {"type": "number"}
    if dtype == pl.String:
        return {"type": "string"} | ({"enum": list(words)} if words else {})
    raise TypeError(f"{dtype} has no form in JSON yet; give it one here")


def _part(name: str) -> str:
    """What a part of a struct means, where its column does not say."""
    return {
        "feed": "The feed of the record.",
        "key": "Its key in the feed.",
        "file": "The export that holds it, below exports/.",
        "line": "The line on which it begins.",
    }.get(name, f"Its {name.replace('_', ' ')}.")


def _bounds(least: float | None, most: float | None) -> Schema:
    bounds = {"minimum": least, "maximum": most}
    return {name: bound for name, bound in bounds.items() if bound is not None}


def _described(description: str, form: Schema) -> Schema:
    return {"description": description} | form
