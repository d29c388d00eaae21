"""Says in the store itself what its tables, views and columns are, and holds their keys.

Belongs here: comments, the table `data_dictionary`, and the check of keys at publication. Does not
belong here: the descriptions (`schemas.catalog`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.errors import KeyFault
from pipelines.store.database import identifier, one_row
from schemas.catalog import CATALOG
from schemas.columns import polars_schema
from schemas.described import Described
from schemas.store import DataDictionary

DATA_DICTIONARY = "data_dictionary"
_TOGETHER = 20  # small tables whose keys are looked at in one question
_FEW_ROWS = 20_000


def table_comment(table: Described) -> str:
    """What one row is, and the key."""
    return f"{table.grain} Key: {', '.join(table.key)}."


def comment_on_all(con: duckdb.DuckDBPyConnection) -> None:
    """Puts its comment on every table, view and column that lacks it."""
    kinds, said = _kinds(con), _said(con)
    con.execute("begin")  # each comment alone would wait for the disk
    for name, table in CATALOG.items():
        if name not in kinds:
            continue
        kind = "view" if kinds[name] == "VIEW" else "table"
        if said.get((name, None)) != table_comment(table):
            con.execute(f"comment on {kind} {identifier(name)} is {_quoted(table_comment(table))}")
        for column in table.columns:
            # An optional column that is not there has nothing to say, and no comment to compare.
            if said.get((name, column.name), "absent") not in ("absent", column.meaning):
                con.execute(
                    f"comment on column {identifier(name)}.{identifier(column.name)} "
                    f"is {_quoted(column.meaning)}"
                )
    con.execute("commit")


def _kinds(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """What is there by name: a table or a view."""
    rows = con.execute(
        "select table_name, table_type from information_schema.tables "
        "where table_catalog = current_database() and table_schema = 'main'"
    ).fetchall()
    return dict(rows)


def _said(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, str | None], str]:
    """The comments that stand: by table and column, and by table and None; empty where none."""
    rows = con.execute(
        "select table_name, column_name, coalesce(comment, '') from duckdb_columns() "
        "where database_name = current_database() and schema_name = 'main' "
        "union all select table_name, null, coalesce(comment, '') from duckdb_tables() "
        "where database_name = current_database() and schema_name = 'main' "
        "union all select view_name, null, coalesce(comment, '') from duckdb_views() "
        "where database_name = current_database() and schema_name = 'main'"
    ).fetchall()
    return {(table, column): comment for table, column, comment in rows}


def data_dictionary(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """One row a column of every table and view that is there, and of the dictionary itself."""
    there = con.execute(
        "select table_name, column_name, ordinal_position, data_type "
        "from information_schema.columns "
        "where table_catalog = current_database() and table_schema = 'main' "
        "and table_name <> ? order by table_name, ordinal_position",
        [DATA_DICTIONARY],
    ).fetchall()
    kinds = {pl.String: "VARCHAR", pl.Int64: "BIGINT"}
    there += [
        (DATA_DICTIONARY, name, place, kinds[type(kind)])
        for place, (name, kind) in enumerate(polars_schema(DataDictionary).items(), 1)
    ]
    rows = []
    for table, name, place, kind in there:
        described = CATALOG.get(table)
        if described is None or name not in {column.name for column in described.columns}:
            continue
        column = described.column(name)
        rows.append(
            {
                "table": table,
                "position": place,
                "column": name,
                "type": kind,
                "unit": column.unit,
                "key": "yes" if name in described.key else "no",
                "words": "; ".join(column.words) or None,
                "references": column.references,
                "description": column.meaning,
            }
        )
    return pl.DataFrame(rows, schema=polars_schema(DataDictionary)).sort("table", "position")


def check_keys(con: duckdb.DuckDBPyConnection) -> None:
    """Looks whether every table's key is unique.

    Raises:
        KeyFault: two rows of a table have one key, which is a fault of the tool.
    """
    there = _kinds(con)
    checked = [n for n, table in CATALOG.items() if table.key_is_checked and n in there]
    few = _of_few_rows(con)
    small = [name for name in checked if name in few]
    # Many small tables in one question, a large one alone, as each keeps its groups in memory.
    for some in [
        *(small[at : at + _TOGETHER] for at in range(0, len(small), _TOGETHER)),
        *([name] for name in checked if name not in few),
    ]:
        if faulty := con.execute(" union all ".join(map(_twice, some)), some).fetchall():
            raise _key_fault(con, min((name for (name,) in faulty), key=checked.index))


def _of_few_rows(con: duckdb.DuckDBPyConnection) -> set[str]:
    """The tables, views left out, that have at most so many."""
    rows = con.execute(
        "select table_name from duckdb_tables() where database_name = current_database() "
        "and schema_name = 'main' and estimated_size <= ?",
        [_FEW_ROWS],
    ).fetchall()
    return {name for (name,) in rows}


def _twice(name: str) -> str:
    """Asks whether a table, whose name is the question's value, has two rows of one key."""
    return f"(select ? from {identifier(name)} group by {_key(name)} having count(*) > 1 limit 1)"


def _key(name: str) -> str:
    return ", ".join(map(identifier, CATALOG[name].key))


def _key_fault(con: duckdb.DuckDBPyConnection, name: str) -> KeyFault:
    key = _key(name)
    twice = one_row(
        con, f"select {key} from {identifier(name)} group by all having count(*) > 1 limit 1"
    )
    assert twice is not None, name
    values = ", ".join(
        f"{column} {value}" for column, value in zip(CATALOG[name].key, twice, strict=True)
    )
    return KeyFault(
        f"The table {name} has two rows of one key ({values}). Store and pages are as they "
        "were. This is a fault of the tool: report it with the log."
    )


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
