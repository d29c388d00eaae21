"""What stands for the rows of a table, so that two tables can be compared without their rows.

Belongs here: the hash over a table's rows. Does not belong here: what follows where two differ.
"""

from __future__ import annotations

import hashlib

import duckdb

from pipelines.store.database import identifier, one_row

_FLOATS = ("DOUBLE", "FLOAT")
Columns = list[tuple[str, str]]  # name and type


def columns_of(con: duckdb.DuckDBPyConnection, name: str) -> Columns:
    """Name and type of each column of a table, in their order; none where it is not there."""
    try:
        relation = con.table(identifier(name))
    except duckdb.CatalogException:
        return []
    return [
        (column, str(kind)) for column, kind in zip(relation.columns, relation.types, strict=True)
    ]


def parts_to_hash(columns: Columns) -> list[str]:
    """What is hashed beside the row itself, as SQL.

    DuckDB's hash does not tell null, an empty list and a list of null apart, nor 0 and -0.
    """
    apart = [f"len({identifier(name)})" for name, kind in columns if kind.endswith("[]")]
    return apart + [f"signbit({identifier(name)})" for name, kind in columns if kind in _FLOATS]


def content_of(con: duckdb.DuckDBPyConnection, name: str) -> str:
    """A hash over the columns and rows of a table, whatever the order of the rows."""
    return content_and_rows(con, name)[0]


def content_and_rows(con: duckdb.DuckDBPyConnection, name: str) -> tuple[str, int]:
    """The same hash, and how many rows the table has."""
    columns = columns_of(con, name)
    hashed = ", ".join(["content", *parts_to_hash(columns)])
    rows = one_row(
        con,
        "select bit_xor(hashed), sum(hashed), count(*) "
        f"from (select hash({hashed}) as hashed from {identifier(name)} as content)",
    )
    return hashlib.sha256(repr((columns, rows)).encode()).hexdigest(), rows[2] if rows else 0
