"""Hands the tables to people: Parquet and CSV files, and the swap of the published folder.

Belongs here: writing table files and putting a finished folder in the place of the old one.
Does not belong here: pages (`dashboards`).
"""

from __future__ import annotations

import ctypes
import os
import shutil
from collections.abc import Iterable
from pathlib import Path

import duckdb

from pipelines.warehouse.database import identifier

# Spreadsheets run a cell that begins so as a formula; a leading apostrophe keeps it text.
_FORMULA = r"^[=+\-@\t\r]"


def write_table_files(
    con: duckdb.DuckDBPyConnection, tables: Iterable[str], folder: Path
) -> list[str]:
    """Each table as Parquet (as stored) and CSV (lists joined by `; `, no live formula)."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for table in tables:
        columns = con.execute(
            "select column_name, data_type from information_schema.columns "
            "where table_schema = 'main' and table_name = ? order by ordinal_position",
            [table],
        ).fetchall()
        if not columns:
            continue
        chosen = ", ".join(_csv_expression(name, kind) for name, kind in columns)
        base = str(folder / table).replace("'", "''")
        con.execute(f"copy {identifier(table)} to '{base}.parquet' (format parquet)")
        con.execute(
            f"copy (select {chosen} from {identifier(table)}) to '{base}.csv' (header true)"
        )
        written.append(table)
    return written


def _csv_expression(name: str, kind: str) -> str:
    column = identifier(name)
    if kind.endswith("[]"):
        value = f"array_to_string({column}, '; ')"
    elif kind == "VARCHAR":
        value = column
    else:
        return column
    return (
        f"case when regexp_matches({value}, '{_FORMULA}') then '''' || {value} "
        f"else {value} end as {column}"
    )


def swap_folder(new: Path, current: Path) -> None:
    """Puts `new` where `current` is, in one step where the system can exchange two names.

    A reader that opens a page sees the old folder or the new one. The old folder is removed
    afterwards.
    """
    if not current.exists():
        os.replace(new, current)
        return
    if not _exchange(new, current):
        old = current.with_name(current.name + ".old")
        shutil.rmtree(old, ignore_errors=True)
        os.replace(current, old)
        os.replace(new, current)
        new = old
    shutil.rmtree(new, ignore_errors=True)


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
