"""Writes a table of the working copy part by part, each part checked against its class.

Belongs here: writing, checking, and what did not fit. Does not belong here: the transaction that
puts the table in its place with its state (`pipelines.store.transaction`).
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, Future
from contextlib import closing

import duckdb
import polars as pl

from pipelines.store.database import LAST, append_frame, drop_table
from pipelines.store.in_place import put_frame, put_rows, replace_table
from pipelines.store.merging import merge_table, sort_table
from schemas.columns import Table, column_names
from schemas.fitting import surely_fits
from schemas.validation import pa

MOST_CASES = 20
HELD_ROWS = 20_000  # no more are kept in memory until their table is put in its place


class TableWriter:
    """Writes a table part by part; what stands under its name stands until it is put in place.

    A part is written and checked while the next one is made; a table that stays small is kept in
    memory until then. A table without a class is written as it comes.
    """

    def __init__(
        self,
        con: duckdb.DuckDBPyConnection,
        beside: Executor,
        name: str,
        table: type[Table] | None = None,
    ) -> None:
        self.name = name
        self.cases: list[str] = []
        self._target = f"{name}_new"
        self._con = con
        self._beside = beside
        self._table = table
        self._height = 0
        self._parts = 0
        self._held: list[pl.DataFrame] | None = []  # None once anything stands in the target
        self._writing: Future[None] | None = None

    def add(self, part: pl.DataFrame) -> None:
        """Writes and checks some rows, once those before them are written."""
        self._parts += part.height > 0
        if self._held is not None and self._height + part.height <= HELD_ROWS:
            self._check(part)
            self._held.append(part)
            return
        self.written()
        self._writing = self._beside.submit(self._write, part)

    def _write(self, part: pl.DataFrame) -> None:
        with closing(self._con.cursor()) as con:
            append_frame(con, self._target, part)
        self._check(part)

    def _check(self, part: pl.DataFrame) -> None:
        if self._table is not None:
            self.cases += failing_cases(part, self._table, self._height)
        self._height += part.height

    def sort(self, order: Sequence[str]) -> None:
        """Puts all rows that were added in `order`, where they came in several parts."""
        if self._parts < 2:
            return
        if self._held is not None:
            # As DuckDB does, where a column of the order is empty.
            self._held = [self._together().sort(order, nulls_last=True, maintain_order=True)]
        else:
            sort_table(self._con, self.written(), order)

    def written(self) -> str:
        """The name under which the rows stand until then, when all that were added do."""
        if self._held is not None:
            drop_table(self._con, self._target)
            if self._held:
                append_frame(self._con, self._target, self._together())
            self._held = None
        if self._writing is not None:
            self._writing.result()
            self._writing = None
        return self._target

    def _together(self) -> pl.DataFrame:
        """The rows that are kept in memory, in the columns and types of the first part."""
        assert self._held, "a table has at least one part, be it empty"
        first, *others = self._held
        alike = [part.select(first.columns).cast(first.schema) for part in others]
        return pl.concat([first, *alike]) if others else first

    def finish(self) -> None:
        """Waits until all rows are written that are not kept in memory."""
        if self._held is None:
            self.written()

    def put_in_place(self) -> None:
        """Puts the table in its place; belongs into a transaction, once it is finished."""
        if self._held is not None:
            put_frame(self._con, self.name, self._together())
        elif self._height <= HELD_ROWS:  # written out to be sorted or merged, and small after all
            put_rows(self._con, self.name, self._target)
        else:
            replace_table(self._con, self._target, self.name)

    def carry_over(self, keys: pl.DataFrame, order: Sequence[str]) -> None:
        """Puts the published store's rows with one of the keys among the new ones, all in `order`.

        Both must be in that order. They were checked when they were written.
        """
        if keys.height:
            merge_table(self._con, self.written(), f"{LAST}.{self.name}", keys, order)
            self._height += keys.height


def failing_cases(frame: pl.DataFrame, table: type[Table], first_row: int = 0) -> list[str]:
    """Where a frame does not fit its class: the first cases, in words."""
    declared = column_names(table)
    lacking = [column for column in declared if column not in frame.columns]
    cases: list[str] = [f"the column {column} is missing" for column in lacking]
    if not lacking and surely_fits(frame.select(declared), table):
        return cases
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
