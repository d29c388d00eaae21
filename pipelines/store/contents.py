"""What stands for the rows of a table, so that two tables can be compared without their rows.

Belongs here: the hash over a table's rows. Does not belong here: what follows where two differ.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import duckdb

from pipelines.store.database import identifier

_TOGETHER = 16  # tables in one question: of small ones each alone takes half as long again
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
    return contents_and_rows(con, [name])[name][0]


def contents_and_rows(
    con: duckdb.DuckDBPyConnection, names: Iterable[str]
) -> dict[str, tuple[str, int]]:
    """The same hash of each of some tables, and how many rows it has."""
    columns = {name: columns_of(con, name) for name in names}
    contents: dict[str, tuple[str, int]] = {}
    parts = [_hashed(name, its) for name, its in columns.items()]
    for at in range(0, len(parts), _TOGETHER):
        rows = con.execute(" union all ".join(parts[at : at + _TOGETHER])).fetchall()
        for name, *hashed in rows:
            content = repr((columns[name], tuple(hashed)))
            contents[name] = hashlib.sha256(content.encode()).hexdigest(), hashed[-1]
    return contents


def _hashed(name: str, columns: Columns) -> str:
    quoted = "'" + name.replace("'", "''") + "'"
    hashed = ", ".join(["content", *parts_to_hash(columns)])
    return (
        f"select {quoted}, bit_xor(hashed), sum(hashed), count(*) "
        f"from (select hash({hashed}) as hashed from {identifier(name)} as content)"
    )
