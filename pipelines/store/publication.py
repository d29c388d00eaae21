"""Hands the tables to people: Parquet and CSV files, and the swap of the published folder.

Belongs here: writing table files and putting a finished folder in the place of the old one.
Does not belong here: pages (`dashboards`).
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import os
import shutil
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipelines.records.harmless import FORMULA_BEGINS
from pipelines.store.contents import Columns, columns_of, parts_to_hash
from pipelines.store.database import identifier
from schemas.catalog import CATALOG

# The lowest level packs our tables about as close as higher ones, in two thirds of the time.
_PARQUET = "format parquet, compression zstd, compression_level 1"
_MADE_FROM = "limeledger_made_from"  # under which a Parquet file tells its content and its CSV
_NO_CSV = "-"
_AT_HAND = "written_now"


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
                _write_files(con, source, columns, folder / table, content, has_csv)
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
        # Its query is worked out once, not for each of its files.
        order = ", ".join(identifier(column) for column in described.key)
        con.execute(
            f"create or replace temp table {_AT_HAND} as from {identifier(table)} order by {order}"
        )
        yield _AT_HAND
        con.execute(f"drop table {_AT_HAND}")
    else:
        yield identifier(table)


def _write_files(
    con: duckdb.DuckDBPyConnection,
    source: str,
    columns: Columns,
    base: Path,
    content: str,
    has_csv: bool,
) -> None:
    """The CSV first, whose checksum the Parquet file tells with what is in both."""
    chosen = ", ".join(_csv_expression(name, kind) for name, kind in columns)
    quoted = str(base).replace("'", "''")
    checksum = _NO_CSV
    if has_csv:
        con.execute(f"copy (select {chosen} from {source}) to '{quoted}.csv' (header true)")
        checksum = _checksum(base.with_name(f"{base.name}.csv"))
    made_from = f"{content} {checksum}"
    con.execute(
        f"copy (select * from {source}) to '{quoted}.parquet' "
        f"({_PARQUET}, kv_metadata {{{_MADE_FROM}: '{made_from}'}})"
    )


def _content(con: duckdb.DuckDBPyConnection, source: str, columns: Columns) -> tuple[int, str]:
    """How many rows there are, and what stands for them, in their order, and for the columns."""
    hashed = ", ".join(["row", "row_number() over ()", *parts_to_hash(columns)])
    rows = con.execute(
        "select bit_xor(hashed), sum(hashed), count(*) "
        f"from (select hash({hashed}) as hashed from {source} as row)"
    ).fetchall()
    text = repr((duckdb.__version__, columns, rows))
    return rows[0][2], hashlib.sha256(text.encode()).hexdigest()


def _taken(last: Path, folder: Path, table: str, content: str, has_csv: bool) -> bool:
    """Whether the last files of a table hold this content, are whole, and are now in `folder`."""
    parquet = last / f"{table}.parquet"
    try:
        made_from = pl.read_parquet_metadata(parquet).get(_MADE_FROM, "")
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


def _csv_expression(name: str, kind: str) -> str:
    column = identifier(name)
    if kind.startswith("STRUCT") and kind.endswith("[]"):
        return f"to_json({column})::varchar as {column}"
    if kind.endswith("[]"):
        value = f"array_to_string({column}, '; ')"
    elif kind == "VARCHAR":
        value = column
    else:
        return column
    # Comparing codes is much cheaper than a pattern, and one list of begins cheaper to plan than a
    # comparison each. Not `in (…)`: from six values on, DuckDB joins with them, and the rows no
    # longer come in their order.
    begins = "'" + "".join(FORMULA_BEGINS) + "'"
    least, most = min(map(ord, FORMULA_BEGINS)), max(map(ord, FORMULA_BEGINS))
    code = f"ascii({value})"
    is_formula = f"{code} between {least} and {most} and contains({begins}, chr({code}))"
    return f"case when {is_formula} then '''' || {value} else {value} end as {column}"


def take_file(old: Path, new: Path) -> None:
    """The same file under a second name, or a copy where the disk has no such links.

    Nobody may write into it afterwards, but put another file in the place of its name.
    """
    new.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(old, new)
    except OSError:
        shutil.copy2(old, new)


def remove_folder(folder: Path) -> None:
    """Removes a folder with all that is in it, also what its owner has made read-only.

    Published pages may have been protected by somebody, who would else keep the old ones in the
    way of the next. What somebody else owns stays; the caller looks whether anything did.
    """
    _make_writable(folder)
    for above, names, _ in os.walk(folder):  # goes into each of these only after we had it
        for name in names:
            _make_writable(Path(above, name))
    shutil.rmtree(folder, ignore_errors=True)


def _make_writable(folder: Path) -> None:
    if not folder.is_symlink():
        with contextlib.suppress(OSError):
            folder.chmod(0o700)


def swap_folder(new: Path, current: Path) -> None:
    """Puts `new` where `current` is, in one step where the system can exchange two names.

    A reader that opens a page sees the old folder or the new one. Afterwards the old folder, where
    there was one, stands under the name of `new`, so that the same call undoes the swap.
    """
    if not current.exists():
        os.replace(new, current)
    elif not _exchange(new, current):
        old = current.with_name(current.name + ".old")
        remove_folder(old)
        os.replace(current, old)
        os.replace(new, current)
        os.replace(old, new)


def _exchange(one: Path, other: Path) -> bool:
    """Exchanges two names atomically (Linux renameat2); False where that is not to be had."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError):
        return False
    at_fdcwd, rename_exchange = -100, 2
    done = renameat2(
        at_fdcwd, os.fsencode(one), at_fdcwd, os.fsencode(other), ctypes.c_uint(rename_exchange)
    )
    return bool(done == 0)
