"""The two files of a published table: Parquet with what is in it, CSV without a live formula.

Belongs here: how rows become bytes, a batch after the other. Does not belong here: which tables
(`table_files`).
"""

from __future__ import annotations

import io
import zlib
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.records.harmless import FORMULA_BEGINS

MADE_FROM = "limeledger_made_from"  # under which a Parquet file tells its content and its CSV
_BEGINS = "^[" + "".join(rf"\x{ord(begin):02x}" for begin in FORMULA_BEGINS) + "]"
# Seconds, and their fractions only where there are some, without zeros at the end.
_MOMENT, _IDLE_ZEROS = "%Y-%m-%d %H:%M:%S%.f", r"(\.\d*?)0+$"


class ParquetFile:
    """A Parquet file that is written batch by batch; columns are as the store has them."""

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        # The lowest level packs our tables about as close as higher ones, in two thirds of the
        # time. Amounts as whole numbers, which every reader has known longest.
        self._writer = pq.ParquetWriter(
            path,
            schema,
            compression="zstd",
            compression_level=1,
            store_decimal_as_integer=True,
            store_schema=False,
        )

    def close(self) -> None:
        """Ends the file."""
        self._writer.close()

    def add(self, batch: pa.RecordBatch) -> None:
        """Writes some rows."""
        self._writer.write_batch(batch)

    def tell(self, made_from: str) -> None:
        """Puts down what the file was made from."""
        self._writer.add_key_value_metadata({MADE_FROM: made_from})


class CsvFile:
    """A CSV file that is written batch by batch, with its CRC-32."""

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        self._file = path.open("wb")
        self._names = schema.names
        self._crc = 0
        self._begun = False

    def close(self) -> None:
        """Ends the file."""
        self._file.close()

    def add(self, batch: pa.RecordBatch) -> None:
        """Writes some rows: lists as text, nothing that a spreadsheet takes for a formula."""
        frame = _frame(batch)
        plain = frame.select(_as_text(name, kind) for name, kind in frame.schema.items())
        texts = [name for name, kind in plain.schema.items() if kind == pl.String]
        begins = plain.select(pl.col(texts).str.contains(_BEGINS).any())
        formulas = [name for name in texts if begins[name].item()]
        self._put(plain.with_columns(_harmless(name) for name in formulas) if formulas else plain)

    def end(self) -> str:
        """Writes the header where there was no row; the CRC-32 of all that was written."""
        if not self._begun:
            self._put(pl.DataFrame(schema=dict.fromkeys(self._names, pl.String)))
        return f"{self._crc:08x}"

    def _put(self, frame: pl.DataFrame) -> None:
        buffer = io.BytesIO()
        frame.write_csv(buffer, include_header=not self._begun)
        self._begun = True
        text = buffer.getbuffer()
        self._crc = zlib.crc32(text, self._crc)
        self._file.write(text)


def _frame(batch: pa.RecordBatch) -> pl.DataFrame:
    frame = pl.from_arrow(batch)
    assert isinstance(frame, pl.DataFrame)
    return frame


def _harmless(name: str) -> pl.Expr:
    column = pl.col(name)
    return pl.when(column.str.contains(_BEGINS)).then("'" + column).otherwise(column).alias(name)


def _as_text(name: str, kind: pl.DataType) -> pl.Expr:
    """A column as CSV has it: a list of structs as JSON, another list joined, a moment in full."""
    column = pl.col(name)
    if isinstance(kind, pl.List) and isinstance(kind.inner, pl.Struct):
        objects = column.list.eval(_json(kind.inner)).list.join(",")
        return pl.concat_str(pl.lit("["), objects, pl.lit("]")).alias(name)
    if isinstance(kind, pl.List):
        return column.cast(pl.List(pl.String)).list.join("; ", ignore_nulls=True)
    if isinstance(kind, pl.Datetime):
        return column.dt.to_string(_MOMENT).str.replace(_IDLE_ZEROS, "$1")
    return column


def _json(kind: pl.Struct) -> pl.Expr:
    """Each struct of a list as a JSON object, days and moments as text."""
    inner = pl.element().struct.field
    fields = (
        inner(field.name).cast(pl.String) if _is_temporal(field.dtype) else inner(field.name)
        for field in kind.fields
    )
    return pl.struct(*fields).struct.json_encode()


def _is_temporal(kind: object) -> bool:
    return kind == pl.Date or kind == pl.Datetime
