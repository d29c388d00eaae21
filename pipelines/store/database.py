"""Opens the store and moves frames in and out of it.

Belongs here: connections and their locks, reading and writing whole tables. Does not belong here:
what the tables mean, or any SQL built from data: table and column names come from `schemas` and
from the code alone.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipelines.errors import StorageError
from pipelines.store.frames_for_sql import read_once

LAST = "last"  # the name under which a run has the published store
# The values of a query, by place or by name, and a row of what it gives.
Params = list[Any] | dict[str, Any]
Row = tuple[Any, ...]
MEMORY_LIMIT = "1GB"  # DuckDB's share; polars needs the rest of the 4 GiB a refresh may take


_CONFIGURING = threading.Lock()


def connect(
    path: Path,
    *,
    read_only: bool = False,
    write_to: Iterable[Path] = (),
    copy_of: Path | None = None,
    last: Path | None = None,
) -> duckdb.DuckDBPyConnection:
    """A connection whose only way outside is the store's folder and `write_to`.

    `last` is a store that is there to read under the name of LAST.

    Raises `StorageError` where the file, or the one that it is a copy of, cannot be opened.
    """
    try:
        con = duckdb.connect(
            str(path),
            read_only=read_only,
            config={
                "autoinstall_known_extensions": "false",
                "autoload_known_extensions": "false",
                "threads": pl.thread_pool_size(),  # see `pipelines.workspace.threads`
            },
        )
    except (duckdb.IOException, duckdb.ConnectionException) as error:
        raise _not_opened(copy_of or path, error) from error
    if last is not None:
        try:
            con.execute(f"attach {_quoted(last)} as {LAST} (read_only)")
        except duckdb.Error as error:
            con.close()
            raise _not_opened(last, error) from error
    with _CONFIGURING:
        # Of one file that a process has open twice, the second connection has what the first set.
        locked = con.execute("select current_setting('lock_configuration')").fetchall()
        if locked != [(True,)]:
            _configure(con, path.parent / "spill", write_to)
    return con


def _configure(con: duckdb.DuckDBPyConnection, spill: Path, write_to: Iterable[Path]) -> None:
    con.execute(f"set memory_limit='{MEMORY_LIMIT}'")
    con.execute("set preserve_insertion_order=true")
    con.execute("set enable_progress_bar=false")  # it would be drawn into the JSON on stdout
    con.execute(f"set temp_directory={_quoted(spill)}")
    folders = ", ".join(_quoted(folder) for folder in write_to)
    con.execute(f"set allowed_directories=[{folders}]")
    con.execute("set enable_external_access=false")
    con.execute("set lock_configuration=true")


def _not_opened(path: Path, error: Exception) -> StorageError:
    return StorageError(
        f"{path}: the store cannot be opened ({_first_line(error)}). "
        "If another program holds it open, close that; if the file is damaged, "
        "`limeledger doctor` says what would be lost (nothing, where the archive is whole). "
        "Move it away and refresh: it is made anew from the archive, the exports and the rulings."
    )


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0]


def identifier(name: str) -> str:
    """A table or column name as SQL takes it; `last.table` keeps its dot."""
    return ".".join('"' + part.replace('"', '""') + '"' for part in name.split("."))


def has_table(con: duckdb.DuckDBPyConnection, name: str) -> bool:
    """Whether the store holds that table; `last.table` asks the store that is attached as LAST."""
    place, _, table = name.rpartition(".")
    parts = [LAST, "main", table] if place == LAST else [place or "main", table]
    # Asked hundreds of times a run: DuckDB's tables of tables take five times as long.
    try:
        con.table(".".join(map(identifier, parts)))
    except duckdb.CatalogException:
        return False
    except duckdb.BinderException:
        pass  # a view that is there, though what it reads is another
    return True


def table_names(con: duckdb.DuckDBPyConnection, last: bool = False) -> list[str]:
    """The tables of the store, or of the one attached as LAST; views left out."""
    rows = con.execute(
        "select table_name from information_schema.tables where table_schema = 'main' "
        "and table_catalog = coalesce(?, current_database()) and table_type = 'BASE TABLE' "
        "order by 1",
        [LAST if last else None],
    ).fetchall()
    return [name for (name,) in rows]


def row_counts(con: duckdb.DuckDBPyConnection, last: bool = False) -> dict[str, int]:
    """How many rows each table of the store has, or of the one attached as LAST; views left out."""
    names, schema = table_names(con, last), f"{LAST}.main" if last else "main"
    # All in one question: a hundred of them take ten times as long.
    tables = ['"' + name.replace('"', '""') + '"' for name in names]
    parts = [f"select ?, count(*) from {schema}.{table}" for table in tables]
    return dict(con.execute(" union all ".join(parts), names).fetchall()) if parts else {}


def one_row(con: duckdb.DuckDBPyConnection, sql: str, params: Params | None = None) -> Row | None:
    """The first row of a query that gives one at the most; None where it gives none.

    The result is read to its end: a connection with an open result takes no other work.
    """
    rows = con.execute(sql, params or []).fetchall()
    return rows[0] if rows else None


def read_frame(
    con: duckdb.DuckDBPyConnection,
    name: str,
    *,
    columns: Iterable[str] | None = None,
    schema: pl.Schema | None = None,
) -> pl.DataFrame:
    """A table as a polars frame; an empty frame of `schema` where the table is not there."""
    if schema is not None and not has_table(con, name):
        return pl.DataFrame(schema=schema)
    chosen = ", ".join(identifier(c) for c in columns) if columns is not None else "*"
    frame: pl.DataFrame = con.sql(f"select {chosen} from {identifier(name)}").pl()
    return frame.cast(schema) if schema is not None else frame


def query_frame(
    con: duckdb.DuckDBPyConnection, sql: str, params: Params | None = None
) -> pl.DataFrame:
    """What a query of the code's own gives, as a polars frame; values go in as parameters."""
    frame: pl.DataFrame = con.sql(sql, params=params).pl()
    return frame


def write_frame(con: duckdb.DuckDBPyConnection, name: str, frame: pl.DataFrame) -> None:
    """Puts a frame in the place of a table."""
    schema, _, _ = name.rpartition(".")
    if schema:
        con.execute(f"create schema if not exists {identifier(schema)}")
    with read_once(con, frame) as source:
        con.execute(f"create or replace table {identifier(name)} as select * from {source}")


def append_frame(con: duckdb.DuckDBPyConnection, name: str, frame: pl.DataFrame) -> None:
    """Adds a frame's rows to a table, which is made where it is not there."""
    if not has_table(con, name):
        write_frame(con, name, frame)
    elif frame.height:
        with read_once(con, frame) as source:
            con.execute(f"insert into {identifier(name)} by name select * from {source}")


def count_rows(con: duckdb.DuckDBPyConnection, name: str) -> int:
    """How many rows a table has; 0 where it is not there."""
    if not has_table(con, name):
        return 0
    row = one_row(con, f"select count(*) from {identifier(name)}")
    return row[0] if row else 0


def drop_table(con: duckdb.DuckDBPyConnection, name: str) -> None:
    """Removes a table where it is there."""
    con.execute(f"drop table if exists {identifier(name)}")


def forget_files(
    con: duckdb.DuckDBPyConnection, name: str, column: str, files: Iterable[str]
) -> None:
    """Removes the rows of some files from a table, where it is there."""
    gone = sorted(files)
    if gone and has_table(con, name):
        con.execute(
            f"delete from {identifier(name)} where {identifier(column)} in "
            "(select unnest(?::varchar[]))",
            [gone],
        )
