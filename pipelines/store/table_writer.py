"""Writes a table of the working copy part by part, each part checked against its class.

Belongs here: writing, checking, and what did not fit. Does not belong here: putting the table in
its place with its state (`pipelines.store.transaction`).
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, Future
from contextlib import closing

import duckdb
import polars as pl

from pipelines.store.database import LAST, append_frame, drop_table
from pipelines.store.merging import merge_table, sort_table
from schemas.columns import Table, column_names, polars_schema
from schemas.validation import pa

MOST_CASES = 20


class TableWriter:
    """Writes a table part by part; what stands under its name stands until it is put in place.

    A part is written and checked while the next one is made. A table without a class is written
    as it comes.
    """

    def __init__(
        self,
        con: duckdb.DuckDBPyConnection,
        beside: Executor,
        name: str,
        table: type[Table] | None = None,
    ) -> None:
        self.name = name
        self.target = f"{name}_new"
        self.cases: list[str] = []
        self._con = con
        self._beside = beside
        self._table = table
        self._height = 0
        self._parts = 0
        self._writing: Future[None] | None = None
        drop_table(con, self.target)

    def add(self, part: pl.DataFrame) -> None:
        """Writes and checks some rows, once those before them are written."""
        self.written()
        self._parts += part.height > 0
        self._writing = self._beside.submit(self._write, part)

    def _write(self, part: pl.DataFrame) -> None:
        with closing(self._con.cursor()) as con:
            append_frame(con, self.target, part)
        if self._table is not None:
            self.cases += failing_cases(part, self._table, self._height)
        self._height += part.height

    def sort(self, order: Sequence[str]) -> None:
        """Puts all rows that were added in `order`, where they came in several parts."""
        if self._parts > 1:
            sort_table(self._con, self.written(), order)

    def written(self) -> str:
        """The name under which the rows stand until then, when all that were added do."""
        if self._writing is not None:
            self._writing.result()
            self._writing = None
        return self.target

    def carry_over(self, keys: pl.DataFrame, order: Sequence[str]) -> None:
        """Puts the published store's rows with one of the keys among the new ones, all in `order`.

        Both must be in that order. They were checked when they were written.
        """
        if keys.height:
            merge_table(self._con, self.written(), f"{LAST}.{self.name}", keys, order)


def failing_cases(frame: pl.DataFrame, table: type[Table], first_row: int = 0) -> list[str]:
    """Where a frame does not fit its class: the first cases, in words."""
    declared = column_names(table)
    lacking = [column for column in declared if column not in frame.columns]
    cases: list[str] = [f"the column {column} is missing" for column in lacking]
    if not lacking and frame.is_empty() and frame.select(declared).schema == polars_schema(table):
        return cases  # no row can be wrong, and asking each column takes as long as for many rows
    if not lacking:
        try:
            table.validate(frame.select(declared), lazy=True)
        except pa.errors.SchemaErrors as error:
            cases = [
                f"row {_row(row['index'], first_row)}: {row['column']} {row['check']} "
                f"({row['failure_case']})"
                for row in error.failure_cases.head(MOST_CASES).iter_rows(named=True)
            ]
    return cases


def _row(index: int | None, first_row: int) -> int | None:
    return None if index is None else index + first_row
