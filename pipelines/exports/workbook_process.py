"""Reads the sheets of a workbook in a process of its own, which may break down alone.

Belongs here: starting, timing and ending the child, and what its end means for which sheet. Does
not belong here: what the child does (`workbook_child`), what cells mean (`sheets`).

One child reads sheet after sheet; where it ends at one, another goes on with the next.
"""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import IO, Any

import polars as pl

from pipelines.exports.cells import Cells
from pipelines.exports.farthest_cell import cell_name
from pipelines.exports.limits import (
    Limits,
    too_many_cells,
    workbook_failed,
    workbook_memory,
    workbook_time,
)
from pipelines.exports.reading import FileFault
from pipelines.exports.workbook_child import NO_MEMORY, NO_WORKBOOK

CHILD = "pipelines.exports.workbook_child"
# The library for columns would start a thread for each core and reserve memory for each.
_ALONE = {"POLARS_MAX_THREADS": "1", "RAYON_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "1"}
_NO_MEMORY_PHRASES = ("memory allocation of", "memoryerror", "out of memory", "cannot allocate")


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, and its cells, or why it could not be read."""

    name: str
    cells: Cells | None
    fault: FileFault | None = None


class NoWorkbook(Exception):
    """The file cannot be opened as a workbook at all."""


def read_sheets(path: Path, limits: Limits) -> Iterator[Sheet]:
    """Every sheet of a workbook in its order, hidden ones too.

    Raises:
        NoWorkbook: the file is damaged, locked by a password, or no workbook.
    """
    first, total = 0, 1
    while first < total:
        with _child(path, first, limits) as (connection, process, errors):
            names = None
            while names is None or first < total:
                deadline = time.monotonic() + limits.max_workbook_seconds
                try:
                    head = _message(connection, deadline)
                    if head.get("end") == NO_WORKBOOK:
                        raise NoWorkbook
                    if names is None and "sheets" in head:
                        names = head["sheets"]
                        total = len(names)
                        continue
                    sheet = _sheet(names, first, head, connection, deadline, limits)
                except (EOFError, OSError, TimeoutError, ValueError) as end:
                    fault = _end_of(process, errors, end, limits)
                    # Where it broke down before it told any name, no sheet can be told apart.
                    yield Sheet(names[first] if names else "", None, fault)
                    if names is None:
                        return
                    first += 1
                    break
                yield sheet
                first += 1


def _sheet(
    names: list[str] | None,
    index: int,
    head: dict[str, Any],
    connection: Connection,
    deadline: float,
    limits: Limits,
) -> Sheet:
    """The sheet that a head announces.

    Raises:
        EOFError, OSError, TimeoutError: the child ended, or took too long.
    """
    if names is None or "end" in head:
        raise EOFError(head.get("end"))
    name = names[index]
    if "corner" in head:
        row, column = head["corner"]
        fault = too_many_cells(cell_name(row, column), row * column, limits.max_cells or 0)
        return Sheet(name, None, fault)
    if "failed" in head:
        return Sheet(name, None, workbook_failed(head["failed"]))
    text, typed = (pl.read_ipc_stream(io.BytesIO(_bytes(connection, deadline))) for _ in range(2))
    return Sheet(name, Cells(text, typed, [tuple(error) for error in head["errors"]]))


@contextmanager
def _child(
    path: Path, first: int, limits: Limits
) -> Iterator[tuple[Connection, subprocess.Popen[bytes], IO[bytes]]]:
    reading, writing = os.pipe()
    memory, cells = limits.max_workbook_bytes, limits.max_cells
    arguments = [str(path.absolute()), str(first), str(cells or ""), str(memory), str(writing)]
    # The child finds the code where this process found it, and not in the folder it stands in.
    search_path = {"PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}
    with tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", CHILD, *arguments],
            env={**os.environ, **_ALONE, **search_path},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=errors,
            pass_fds=[writing],
        )
        os.close(writing)
        connection = Connection(reading, writable=False)
        try:
            yield connection, process, errors
        finally:
            connection.close()
            process.kill()
            process.wait()


def _bytes(connection: Connection, deadline: float) -> bytes:
    if not connection.poll(max(0.0, deadline - time.monotonic())):
        raise TimeoutError
    return connection.recv_bytes()


def _message(connection: Connection, deadline: float) -> dict[str, Any]:
    head: dict[str, Any] = json.loads(_bytes(connection, deadline))
    return head


def _end_of(
    process: subprocess.Popen[bytes], errors: IO[bytes], end: Exception, limits: Limits
) -> FileFault:
    """Why the child told nothing more."""
    if isinstance(end, TimeoutError):
        return workbook_time(limits.max_workbook_seconds)
    if end.args == (NO_MEMORY,):
        return workbook_memory(limits.max_workbook_bytes)
    try:
        code = process.wait(timeout=5)
    except subprocess.TimeoutExpired:
        return workbook_failed("it closed its connection")
    errors.seek(0)
    output = errors.read(1 << 16).decode(errors="replace").casefold()
    if any(phrase in output for phrase in _NO_MEMORY_PHRASES):
        return workbook_memory(limits.max_workbook_bytes)
    if code < 0:
        return workbook_failed(f"ended by the signal {signal.Signals(-code).name}")
    return workbook_failed(f"exit code {code}")
