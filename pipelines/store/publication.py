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
from collections.abc import Iterable, Mapping
from pathlib import Path

import duckdb
import polars as pl

from pipelines.records.harmless import FORMULA_BEGINS
from pipelines.store.contents import Columns, columns_of, parts_to_hash
from pipelines.store.database import identifier
from pipelines.store.packing import pack

# A larger CSV is packed: too long for a spreadsheet to work with, and half of what is published.
MOST_CSV_BYTES = 12 * 2**20
# The lowest level packs our tables about as close as higher ones, in two thirds of the time.
_PARQUET = "format parquet, compression zstd, compression_level 1"
_MADE_FROM = "limeledger_made_from"  # under which a Parquet file tells its content and its CSV


def write_table_files(
    con: duckdb.DuckDBPyConnection,
    tables: Iterable[str],
    folder: Path,
    instead: Mapping[str, pl.DataFrame] | None = None,
    last: Path | None = None,
) -> list[str]:
    """Each table as Parquet (as stored) and CSV (lists joined by `; `, no live formula).

    A CSV of more than `MOST_CSV_BYTES` is packed with gzip, as `.csv.gz`. A table that
    `instead` names is written from the frame there and not from the store. The files of a table
    that holds what it held when this same tool wrote the folder `last` are taken from there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for table in tables:
        columns = columns_of(con, table)
        if not columns:
            continue
        source = identifier(table)
        if instead and table in instead:
            source = "written_instead"
            con.register(source, instead[table])
        content = _content(con, source, columns)
        if last is None or not _taken(last, folder, table, content):
            _write_files(con, source, columns, folder / table, content)
        if instead and table in instead:
            con.unregister(source)
        written.append(table)
    return written


def _write_files(
    con: duckdb.DuckDBPyConnection, source: str, columns: Columns, base: Path, content: str
) -> None:
    """The CSV first, whose checksum the Parquet file tells with what is in both."""
    chosen = ", ".join(_csv_expression(name, kind) for name, kind in columns)
    quoted = str(base).replace("'", "''")
    con.execute(f"copy (select {chosen} from {source}) to '{quoted}.csv' (header true)")
    csv = base.with_name(f"{base.name}.csv")
    if csv.stat().st_size > MOST_CSV_BYTES:
        csv = pack(csv, base.with_name(f"{base.name}.csv.gz"))
    made_from = f"{content} {csv.name} {_checksum(csv)}"
    con.execute(
        f"copy (select * from {source}) to '{quoted}.parquet' "
        f"({_PARQUET}, kv_metadata {{{_MADE_FROM}: '{made_from}'}})"
    )


def _content(con: duckdb.DuckDBPyConnection, source: str, columns: Columns) -> str:
    """What stands for the rows of a table, in their order, and for its columns."""
    hashed = ", ".join(["row", "row_number() over ()", *parts_to_hash(columns)])
    rows = con.execute(
        "select bit_xor(hashed), sum(hashed), count(*) "
        f"from (select hash({hashed}) as hashed from {source} as row)"
    ).fetchall()
    told = repr((duckdb.__version__, columns, rows))
    return hashlib.sha256(told.encode()).hexdigest()


def _taken(last: Path, folder: Path, table: str, content: str) -> bool:
    """Whether the last files of a table hold this content, are whole, and are now in `folder`."""
    parquet = last / f"{table}.parquet"
    try:
        told = pl.read_parquet_metadata(parquet).get(_MADE_FROM, "")
        was, csv_name, checksum = told.split(" ")
        if was != content or _checksum(last / csv_name) != checksum:
            return False
    except (OSError, ValueError, pl.exceptions.PolarsError):
        return False
    for name in (parquet.name, csv_name):
        take_file(last / name, folder / name)
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
    # Comparing codes is much cheaper than a pattern. Not `in (…)`: from six values on, DuckDB joins
    # with them, and the rows no longer come in their order.
    is_formula = " or ".join(f"ascii({value}) = {ord(begin)}" for begin in FORMULA_BEGINS)
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
    return done == 0
