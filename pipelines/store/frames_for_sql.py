"""Frames under a name that SQL can read.

Belongs here: handing a frame to DuckDB. Does not belong here: any table (`database`).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import duckdb
import polars as pl

if TYPE_CHECKING:
    import pyarrow as pa

SMALL_ROWS = 20_000
_SLICE_ROWS = 122_880  # what DuckDB packs together


class registered:
    """A frame under a name that SQL can read, for the length of a `with` block."""

    def __init__(self, con: duckdb.DuckDBPyConnection, frame: pl.DataFrame) -> None:
        self.con = con
        self.frame = frame

    def __enter__(self) -> str:
        # DuckDB looks at a polars frame for longer than at what it turns it into.
        small = self.frame.height <= SMALL_ROWS
        self.con.register("incoming_frame", self.frame.to_arrow() if small else self.frame)
        return "incoming_frame"

    def __exit__(self, *_: object) -> None:
        self.con.unregister("incoming_frame")


@contextmanager
def read_once(con: duckdb.DuckDBPyConnection, frame: pl.DataFrame) -> Iterator[str]:
    """A frame under a name that SQL can read once, a slice after the other if it is large.

    Until a transaction ends DuckDB keeps all that was registered in it: of a million rows that were
    written within one, the whole would stand in memory until then.
    """
    if frame.height <= SMALL_ROWS:
        with registered(con, frame) as source:
            yield source
        return
    con.register("incoming_slices", _slices(frame))
    try:
        yield "incoming_slices"
    finally:
        con.unregister("incoming_slices")


def _slices(frame: pl.DataFrame) -> pa.RecordBatchReader:
    """The rows as a stream, of which nothing is left once it has been read."""
    import pyarrow as pa

    def batches(rest: pl.DataFrame) -> Iterator[pa.RecordBatch]:
        for part in rest.iter_slices(_SLICE_ROWS):
            yield from part.to_arrow().to_batches()

    return pa.RecordBatchReader.from_batches(frame.head(0).to_arrow().schema, batches(frame))
