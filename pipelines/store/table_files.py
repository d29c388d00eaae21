"""Hands the tables to people: each as Parquet and as CSV, both of one reading.

Belongs here: which tables get files, and taking over those of a table that did not change. Does not
belong here: the two formats (`table_formats`), or the swap of the published folder (`publication`).
"""

from __future__ import annotations

import contextlib
import hashlib
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl
import pyarrow as pa

from pipelines.store.contents import Columns, columns_of, parts_to_hash
from pipelines.store.database import identifier, one_row
from pipelines.store.merging import insert_in_order
from pipelines.store.publication import take_file
from pipelines.store.table_formats import MADE_FROM, CsvFile, ParquetFile
from schemas.catalog import CATALOG

_NO_CSV = "-"
_AT_HAND, _AS_COMES = "written_now", "not_in_order"
_ROWS = 30_000  # at a time: four times as many took 526 MiB for findings and calls, these 379
_WRITTEN_BY = (duckdb.__version__, pl.__version__, pa.__version__)


@dataclass(frozen=True)
class WrittenTable:
    """What was published of one table: its columns in order, and whether as CSV too."""

    columns: tuple[str, ...]
    has_csv: bool


def write_table_files(
    con: duckdb.DuckDBPyConnection,
    tables: Iterable[str],
    folder: Path,
    instead: Mapping[str, pl.DataFrame] | None = None,
    last: Path | None = None,
    *,
    csv_max_rows: int,
) -> dict[str, WrittenTable]:
    """Each table and view as Parquet (as stored) and CSV (lists joined by `; `, lists of structs
    as JSON, no live formula).

    A table of more than `csv_max_rows` rows is Parquet alone. A table that `instead` names is
    written from the frame there and not from the store. The files of a table that holds what it
    held when this same tool wrote the folder `last` are taken from there. Returns what was written,
    by table.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = {}
    for table in tables:
        columns = columns_of(con, table)
        if not columns:
            continue
        with _source(con, table, (instead or {}).get(table)) as source:
            rows, content = _content(con, source, columns)
            has_csv = rows <= csv_max_rows
            if last is None or not _taken(last, folder, table, content, has_csv):
                _write_files(con, source, folder / table, content, has_csv)
        written[table] = WrittenTable(tuple(name for name, _ in columns), has_csv)
    return written


@contextlib.contextmanager
def _source(
    con: duckdb.DuckDBPyConnection, table: str, instead: pl.DataFrame | None
) -> Iterator[str]:
    """What a table is written from: itself, a frame in its stead, or a view's rows by its key."""
    described = CATALOG.get(table)
    if instead is not None:
        con.register(_AT_HAND, instead)
        yield _AT_HAND
        con.unregister(_AT_HAND)
    elif described is not None and described.is_view:
        # Its query is worked out once, not for its content and again for its files.
        con.execute(f"create or replace temp table {_AS_COMES} as from {identifier(table)}")
        con.execute(f"create or replace temp table {_AT_HAND} as from {_AS_COMES} limit 0")
        insert_in_order(con, _AS_COMES, _AT_HAND, described.key)
        con.execute(f"drop table {_AS_COMES}")
        yield _AT_HAND
        con.execute(f"drop table {_AT_HAND}")
    else:
        yield identifier(table)


def _write_files(
    con: duckdb.DuckDBPyConnection, source: str, base: Path, content: str, has_csv: bool
) -> None:
    """Both files, batch by batch; the Parquet file tells what is in it and the CSV's checksum."""
    rows = con.sql(f"select * from {source}").to_arrow_reader(_ROWS)
    with contextlib.ExitStack() as open_files:
        parquet = ParquetFile(base.with_name(f"{base.name}.parquet"), rows.schema)
        open_files.callback(parquet.close)
        csv = None
        if has_csv:
            csv = CsvFile(base.with_name(f"{base.name}.csv"), rows.schema)
            open_files.callback(csv.close)
        for batch in rows:
            parquet.add(batch)
            if csv is not None:
                csv.add(batch)
        parquet.tell(f"{content} {csv.end() if csv is not None else _NO_CSV}")


def _content(con: duckdb.DuckDBPyConnection, source: str, columns: Columns) -> tuple[int, str]:
    """How many rows there are, and what stands for them, in their order, and for the columns."""
    hashed = ", ".join(["row", "row_number() over ()", *parts_to_hash(columns)])
    rows = one_row(
        con,
        "select bit_xor(hashed), sum(hashed), count(*) "
        f"from (select hash({hashed}) as hashed from {source} as row)",
    )
    text = repr((_WRITTEN_BY, columns, rows))
    return rows[2] if rows else 0, hashlib.sha256(text.encode()).hexdigest()


def _taken(last: Path, folder: Path, table: str, content: str, has_csv: bool) -> bool:
    """Whether the last files of a table hold this content, are whole, and are now in `folder`."""
    parquet = last / f"{table}.parquet"
    try:
        made_from = pl.read_parquet_metadata(parquet).get(MADE_FROM, "")
        was, checksum = made_from.split(" ")
        csv = last / f"{table}.csv"
        if was != content or (_checksum(csv) if has_csv else _NO_CSV) != checksum:
            return False
    except (OSError, ValueError, pl.exceptions.PolarsError):
        return False
    for path in (parquet, csv) if has_csv else (parquet,):
        take_file(path, folder / path.name)
    return True


def _checksum(path: Path) -> str:
    checksum = 0
    with path.open("rb") as file:
        while part := file.read(2**20):
            checksum = zlib.crc32(part, checksum)
    return f"{checksum:08x}"
