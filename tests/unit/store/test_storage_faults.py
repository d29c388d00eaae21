"""What the disk, the rights or the memory are to blame for is said to be so, with its way out."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipelines.store.storage_faults import storage_fault

WS = Path("ws")


def system(code: int) -> OSError:
    """What the system says of a file."""
    return OSError(code, os.strerror(code), "ws/store/archive")


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (system(errno.ENOSPC), "ws: the disk is full."),
        (system(errno.EISDIR), "ws/store/archive: something else lies in its place (Is a dir"),
        (system(errno.EEXIST), "ws/store/archive: something else lies in its place (File exis"),
        (system(errno.EACCES), "ws/store/archive: cannot be read or written (Permission denied)"),
        (system(errno.EROFS), "ws/store/archive: cannot be written (Read-only file system)"),
        (system(errno.EFBIG), "ws/store/archive: the system does not do it (File too large)"),
        (system(errno.EMFILE), "ws/store/archive: the system does not do it (Too many open"),
        (system(errno.EBUSY), "ws/store/archive: nothing can be put in its place"),
        (
            duckdb.IOException(
                'IO Error: Cannot open file "ws/store/a.parquet": Permission denied'
            ),
            "ws/store/a.parquet: cannot be read or written (Permission denied)",
        ),
        (pl.exceptions.ComputeError("No space left on device (os error 28)"), "ws: the disk is f"),
        (duckdb.OutOfMemoryException("could not allocate block"), "ws: there is too little mem"),
        (MemoryError(), "ws: there is too little memory for it."),
    ],
)
def test_the_machine_is_told_from_the_tool(error: BaseException, says: str) -> None:
    """Nobody is told that the tool failed where a person can do something."""
    fault = storage_fault(error, WS)
    assert fault is not None
    assert fault.exit_code == 70
    assert str(fault).startswith(says)


@pytest.mark.parametrize(
    "error",
    [
        system(errno.ENOENT),
        ValueError("Permission denied"),
        duckdb.CatalogException("Table with name decisions does not exist"),
        KeyError("claim"),
        duckdb.OutOfMemoryException("failed to pin block (953.9 MiB/953.6 MiB used)"),
    ],
)
def test_what_is_the_tools_own_fault_stays_so(error: BaseException) -> None:
    """Its traceback goes into the log."""
    assert storage_fault(error, WS) is None


def test_the_bound_of_the_store_is_no_want_of_memory() -> None:
    """Nobody is sent to buy memory for what DuckDB may not use; asked of DuckDB itself."""
    with duckdb.connect(":memory:", config={"temp_directory": ""}) as con:
        con.execute("set memory_limit='10MB'")
        with pytest.raises(duckdb.OutOfMemoryException) as caught:
            con.execute("create table t as select random()::varchar from range(5_000_000)")
    assert storage_fault(caught.value, WS) is None


def test_a_folder_in_the_place_of_a_file_is_told(tmp_path: Path) -> None:
    """As the system itself says it."""
    (tmp_path / "runs.jsonl").mkdir()
    with pytest.raises(IsADirectoryError) as caught:
        (tmp_path / "runs.jsonl").open("a")
    fault = storage_fault(caught.value, tmp_path)
    assert str(fault).startswith(f"{tmp_path}/runs.jsonl: something else lies in its place (Is a")
