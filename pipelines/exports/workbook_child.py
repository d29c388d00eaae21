"""The process that reads a workbook: bounded in memory, and nobody else's when it breaks down.

Belongs here: what runs in the child alone. Does not belong here: starting and watching it
(`workbook_process`).

It sends one message with the names of all sheets, then for each sheet a head (JSON) and, where the
sheet was read, its texts and types (Arrow streams).
"""

from __future__ import annotations

import io
import json
import re
import resource
import sys
import zipfile
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

NO_WORKBOOK, NO_MEMORY, BROKEN = "no_workbook", "no_memory", "broken"

_NEARLY = 16 << 20  # bytes below its bound at which a process has next to no memory left


def main(arguments: list[str]) -> None:
    """Reads the sheets of a workbook from one on, and sends each."""
    path, first, max_cells, memory, descriptor = arguments
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (int(memory), int(memory)))
    connection = Connection(int(descriptor), readable=False)
    try:
        _send_sheets(connection, path, int(first), int(max_cells) if max_cells else None)
    except MemoryError:
        _send(connection, {"end": NO_MEMORY})


def _send_sheets(connection: Connection, path: str, first: int, max_cells: int | None) -> None:
    import fastexcel

    from pipelines.exports.farthest_cell import sheet_parts

    try:
        book = fastexcel.read_excel(path)
        names = list(book.sheet_names)
        packed = zipfile.ZipFile(path)
    except MemoryError:
        raise
    except BaseException as error:  # a panic of the library's compiled part is no Exception
        _send(connection, {"end": _kind(error, NO_WORKBOOK)})
        return
    _send(connection, {"sheets": names})
    with packed:
        parts = sheet_parts(packed)
        for index in range(first, len(names)):
            _send_sheet(connection, book, packed, parts.get(names[index]), index, max_cells)


def _send_sheet(
    connection: Connection,
    book: Any,
    packed: zipfile.ZipFile,
    part: str | None,
    index: int,
    max_cells: int | None,
) -> None:
    from pipelines.exports.cells import load_cells
    from pipelines.exports.farthest_cell import farthest_cell

    try:
        corner = farthest_cell(packed, part) if part and part in packed.NameToInfo else None
        if corner and max_cells is not None and corner[0] * corner[1] > max_cells:
            _send(connection, {"corner": corner})
            return
        cells = load_cells(book, index)
        bodies = []
        for frame in (cells.text, cells.typed):
            body = io.BytesIO()
            frame.write_ipc_stream(body)
            bodies.append(body.getvalue())
    except MemoryError:
        raise
    except BaseException as error:
        kind = _kind(error, BROKEN)
        if kind == NO_MEMORY:
            raise MemoryError from None
        _send(connection, {"failed": f"{type(error).__name__}"})
        return
    _send(connection, {"errors": cells.errors})
    for sent in bodies:
        connection.send_bytes(sent)


def _kind(error: BaseException, otherwise: str) -> str:
    text = str(error).casefold()
    out_of = "out of memory" in text or "allocat" in text or "cannot reserve" in text
    return NO_MEMORY if out_of or _came_to_the_limit() else otherwise


def _came_to_the_limit() -> bool:
    """Whether nearly all memory was taken once: a library that cannot unpack for want of a few
    kilobytes says that the file is damaged."""
    allowed, _ = resource.getrlimit(resource.RLIMIT_AS)
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:  # a system that does not tell
        return False
    peak = re.search(r"^VmPeak:\s+(\d+) kB", status, re.MULTILINE)
    return peak is not None and int(peak[1]) * 1024 > allowed - _NEARLY


def _send(connection: Connection, message: dict[str, Any]) -> None:
    connection.send_bytes(json.dumps(message).encode())


if __name__ == "__main__":
    main(sys.argv[1:])
