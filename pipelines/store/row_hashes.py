"""What stands for one record: its key in words, its typed values as JSON, and the SHA-256 of both.

Belongs here: the one definition of a row's hash, as SQL, and reading the values back. Does not
belong here: which rows are hashed (`considered`, `arrivals`), or where they are kept.

`row_sha256` is the SHA-256 (in hexadecimal) of the UTF-8 text `FEED VALUES`: the feed's name, a
space, and the values as one JSON object without spaces, the feed's columns in their order, each
value as text, those that are null left out. So a column that a later version adds changes no hash
of a record that has nothing there. Where a record stands (file and line) and when it arrived is no
part of it. The key is: its columns are among the values.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import polars as pl

from pipelines.store.database import identifier
from schemas.columns import column_names, key_columns
from schemas.feeds import FEED_TABLES, record_schema

# Where a record stands and since when: what is told of it beside its content.
_TYPES: dict[type[pl.DataType], str] = {
    pl.String: "varchar",
    pl.Date: "date",
    pl.Datetime: "timestamp",
    pl.Float64: "double",
    pl.Int64: "bigint",
    pl.Boolean: "boolean",
}
PLACE = ("source_file", "source_line", "source_sheet", "arrived_on", "first_arrived_on")


def content_columns(feed: str) -> list[str]:
    """The columns of a feed's records that are content, key columns included."""
    return [name for name in record_schema(feed).names() if name not in PLACE]


@cache
def key_text(feed: str, alias: str = "") -> str:
    """SQL: the key as it is cited, several columns joined by dashes, amounts left out."""
    table = FEED_TABLES[feed]
    amounts = column_names(table, kind="money")
    names = [name for name in key_columns(table) if name not in amounts]
    return f"concat_ws('-', {', '.join(_cast(name, alias) for name in names)})"


@cache
def values_text(feed: str, alias: str = "") -> str:
    """SQL: the typed values of a record as one JSON object of texts, null left out."""
    parts = []
    for name in content_columns(feed):
        # A number, a date and a moment hold nothing that JSON would write otherwise.
        plain = record_schema(feed)[name] != pl.String
        value = _cast(name, alias)
        quoted = (
            f"'\"{name}\":\"' || {value} || '\"'" if plain else f"'\"{name}\":' || to_json({value})"
        )
        parts.append(quoted)
    return "'{' || concat_ws(',', " + ", ".join(parts) + ") || '}'"


def row_sha256(feed: str, alias: str = "") -> str:
    """SQL: the SHA-256 of a record."""
    return f"sha256('{feed} ' || {values_text(feed, alias)})"


def same_content(feed: str, one: str, other: str, but: Sequence[str] = ()) -> str:
    """SQL: whether two rows have the same content, but for some columns."""
    names = [identifier(name) for name in content_columns(feed) if name not in but]
    comparisons = [f"{one}.{name} is not distinct from {other}.{name}" for name in names]
    return " and ".join(comparisons) or "true"


def same_key(feed: str, one: str, other: str) -> str:
    """SQL: whether two rows have the same key."""
    keys = [identifier(name) for name in key_columns(FEED_TABLES[feed])]
    first, *rest = keys  # never null, so that the rows can be joined by a hash
    comparisons = [f"{one}.{first} = {other}.{first}"]
    return " and ".join(
        [*comparisons, *(f"{one}.{k} is not distinct from {other}.{k}" for k in rest)]
    )


@cache
def read_values(feed: str, column: str = "values") -> str:
    """SQL: the content columns of a feed, typed, out of a column of values."""
    types = {name: duckdb_type(feed, name) for name in content_columns(feed)}
    return ", ".join(
        f"cast(json_extract_string({identifier(column)}, '$.\"{name}\"') as {kind}) "
        f"as {identifier(name)}"
        for name, kind in types.items()
    )


def duckdb_type(feed: str, name: str) -> str:
    """The type of a record's column in the store."""
    kind = record_schema(feed)[name]
    if isinstance(kind, pl.Decimal):
        return f"decimal({kind.precision},{kind.scale})"
    return _TYPES[kind.base_type()]


def _cast(name: str, alias: str) -> str:
    place = f"{alias}." if alias else ""
    return f"cast({place}{identifier(name)} as varchar)"


def rows_as_archived(feed: str, table: str, besides: str = "") -> str:
    """SQL: the records of a table of a feed, each with its hash, key and values.

    row_sha256, feed, key, file, line, values, arrived_on, and the columns `besides`.
    """
    more = f", {besides}" if besides else ""
    columns = (
        f"'{feed}' as feed, {key_text(feed)} as key, source_file as file, source_line as line, "
        f"{values_text(feed)} as values, arrived_on"
    )
    return (
        f"select sha256('{feed} ' || values) as row_sha256, * from "
        f"(select {columns}{more} from {table} as record)"
    )
