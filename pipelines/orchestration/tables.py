"""How an asset that holds a table is declared, written and checked.

Belongs here: the shape common to all table assets. Does not belong here: any one table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import closing
from typing import Any

import dagster as dg
import polars as pl

from pipelines.store.database import (
    append_frame,
    count_rows,
    drop_table,
    merge_table,
    replace_table,
)
from pipelines.store.transaction import RefreshSession
from schemas.columns import Table, column_names
from schemas.dictionary import grain
from schemas.validation import pa

CHECK = "fits_schema"


def table_spec(
    name: str,
    table: type[Table],
    *,
    group: str,
    deps: Iterable[str] = (),
    about: str = "",
    kinds: Iterable[str] = ("polars", "duckdb"),
) -> dg.AssetSpec:
    """The asset of one table; its description opens with what one row is."""
    return dg.AssetSpec(
        name,
        deps=list(deps),
        group_name=group,
        kinds=set(kinds),
        description=f"{grain(table)} {about}".strip(),
    )


def schema_check(name: str) -> dg.AssetCheckSpec:
    """The blocking check that a table fits its pandera class."""
    return dg.AssetCheckSpec(
        CHECK,
        asset=name,
        blocking=True,
        description="Every column, type and value is as the table's class declares it.",
    )


def write_table(
    session: RefreshSession,
    name: str,
    frame: pl.DataFrame | Iterable[pl.DataFrame],
    table: type[Table],
    metadata: Mapping[str, Any] | None = None,
) -> dg.MaterializeResult:
    """Writes a frame under its name, checks it against its class and tells its row count.

    A large table comes as several frames, each written and checked before the next one is made.
    """
    writer = TableWriter(session, name, table)
    for part in [frame] if isinstance(frame, pl.DataFrame) else frame:
        writer.add(part)
    return writer.done(metadata)


class TableWriter:
    """Writes a table part by part; the one of the last refresh stands until `done`.

    A part is written and checked while the next one is made. With `keep`, the parts are added to
    what the table holds.
    """

    def __init__(
        self, session: RefreshSession, name: str, table: type[Table], *, keep: bool = False
    ) -> None:
        self._session = session
        self._name = name
        self._table = table
        self._target = name if keep else f"{name}_new"
        self._cases: list[str] = []
        self._height = 0
        self._writing: Future[None] | None = None
        if not keep:
            drop_table(session.con, self._target)

    def add(self, part: pl.DataFrame) -> None:
        """Writes and checks some rows, once those before them are written."""
        self.written()
        self._writing = self._session.beside.submit(self._write, part)

    def _write(self, part: pl.DataFrame) -> None:
        with closing(self._session.con.cursor()) as con:
            append_frame(con, self._target, part)
        self._cases += failing_cases(part, self._table, self._height)
        self._height += part.height

    def written(self) -> str:
        """The name under which the rows stand until `done`, when all that were added do."""
        if self._writing is not None:
            self._writing.result()
            self._writing = None
        return self._target

    def let_stand(self, keys: pl.DataFrame, order: Sequence[str]) -> None:
        """Puts the last refresh's rows with one of the keys among the new ones, all in `order`.

        Both must be in that order. They were checked when they were written.
        """
        if keys.height:
            merge_table(self._session.con, self.written(), self._name, keys, order)

    def done(self, metadata: Mapping[str, Any] | None = None) -> dg.MaterializeResult:
        """Puts the table in its place; tells how many rows were written and how they fit."""
        con = self._session.con
        if self.written() != self._name:
            replace_table(con, self._target, self._name)
        return dg.MaterializeResult(
            asset_key=self._name,
            metadata={"dagster/row_count": count_rows(con, self._name), **(metadata or {})},
            check_results=[check_result(self._name, self._cases)],
        )


def check_frame(name: str, frame: pl.DataFrame, table: type[Table]) -> dg.AssetCheckResult:
    """Whether a frame fits its class, with the failing cases where it does not."""
    return check_result(name, failing_cases(frame, table))


def failing_cases(frame: pl.DataFrame, table: type[Table], first_row: int = 0) -> list[str]:
    """Where a frame does not fit its class: the first cases, in words."""
    declared = column_names(table)
    lacking = [column for column in declared if column not in frame.columns]
    cases: list[str] = [f"the column {column} is missing" for column in lacking]
    if not lacking:
        try:
            table.validate(frame.select(declared), lazy=True)
        except pa.errors.SchemaErrors as error:
            cases = [
                f"row {_row(row['index'], first_row)}: {row['column']} {row['check']} "
                f"({row['failure_case']})"
                for row in error.failure_cases.head(20).iter_rows(named=True)
            ]
    return cases


def _row(index: int | None, first_row: int) -> int | None:
    return None if index is None else index + first_row


def check_result(name: str, cases: list[str]) -> dg.AssetCheckResult:
    """What came of checking a table against its class."""
    return dg.AssetCheckResult(
        passed=not cases,
        asset_key=name,
        check_name=CHECK,
        severity=dg.AssetCheckSeverity.ERROR,
        metadata={"failing_cases": "\n".join(cases[:20]) or "none"},
    )
