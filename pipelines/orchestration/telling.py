"""What Dagster is told of a table: rows, columns, state, version of its content, the first rows.

Belongs here: metadata, data versions and check results. Does not belong here: what is checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import dagster as dg
import duckdb

from pipelines.steps.step import Written
from pipelines.store.contents import columns_of, content_of
from pipelines.store.database import count_rows
from pipelines.store.lookups import first_rows
from pipelines.store.published_state import STORE_STATE
from pipelines.store.states import TABLE_STATES, digest
from pipelines.store.transaction import RefreshSession
from schemas.catalog import CATALOG

PREVIEW_ROWS = 10
MOST_CELL_CHARS = 120
MOST_TOLD = 20


def materialized(
    session: RefreshSession,
    made: Written | None,
    name: str,
    checks: Sequence[dg.AssetCheckResult],
    *,
    in_full: bool,
) -> dg.MaterializeResult[Any]:
    """The materialization of a table, made now or there already.

    Args:
        made: what the step says of it; None where it was there already.
        in_full: whether somebody can look: with columns, preview and the content's version.
    """
    metadata: dict[str, Any] = {
        "as_of": session.state.as_of.isoformat(),
        "state": session.state.state,
        "already_current": made is None,
        **{key: _value(fact) for key, fact in (made.facts if made else {}).items()},
    }
    version = None
    if in_full:
        is_table = not name.startswith("published_")
        if is_table:
            con = session.readable()
            metadata |= _of_table(con, name)
        version = dg.DataVersion(_content(session, name))
    return dg.MaterializeResult(
        asset_key=name, metadata=metadata, check_results=list(checks), data_version=version
    )


def _value(fact: Any) -> Any:
    return dg.MetadataValue.path(str(fact)) if isinstance(fact, Path) else fact


def _of_table(con: duckdb.DuckDBPyConnection, name: str) -> dict[str, Any]:
    """How many rows, the columns as the dictionary describes them, and the first rows."""
    rows = count_rows(con, name)
    described = {column.name: column.meaning for column in CATALOG[name].columns}
    columns = columns_of(con, name)
    schema = dg.TableSchema(
        [dg.TableColumn(column, kind, described.get(column)) for column, kind in columns]
    )
    return {
        "dagster/row_count": rows,
        "dagster/column_schema": schema,
        "preview": dg.MetadataValue.md(_preview(con, name, [column for column, _ in columns])),
    }


def _preview(con: duckdb.DuckDBPyConnection, name: str, columns: Sequence[str]) -> str:
    """The first rows as a table in Markdown."""
    rows = first_rows(con, name, columns, PREVIEW_ROWS)
    lines = [_line(columns), _line("---" for _ in columns)]
    return "\n".join([*lines, *(_line(map(_cell, row)) for row in rows)])


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _cell(value: str | None) -> str:
    """A cell's text, which can neither end the cell nor bring markup of its own."""
    text = " ".join((value or "").split())[:MOST_CELL_CHARS]
    for sign, instead in (("&", "&amp;"), ("<", "&lt;"), ("|", "&#124;"), ("`", "&#96;")):
        text = text.replace(sign, instead)
    return text


def _content(session: RefreshSession, name: str) -> str:
    """What tells one content from another, whichever run or day made it.

    What tells of the runs themselves is as old as its state.
    """
    if name in (TABLE_STATES, STORE_STATE) or name.startswith("published_"):
        return digest([name, session.state.state])
    return session.content(name) or content_of(session.readable(), name)


def blocking_result(check: str, name: str, cases: Sequence[str]) -> dg.AssetCheckResult:
    """What came of a check that stops the run where it fails."""
    return _check_result(check, name, cases, dg.AssetCheckSeverity.ERROR)


def warning_result(check: str, name: str, cases: Sequence[str]) -> dg.AssetCheckResult:
    """What came of a check that warns."""
    return _check_result(check, name, cases, dg.AssetCheckSeverity.WARN)


def _check_result(
    check: str, name: str, cases: Sequence[str], severity: dg.AssetCheckSeverity
) -> dg.AssetCheckResult:
    return dg.AssetCheckResult(
        passed=not cases,
        asset_key=name,
        check_name=check,
        severity=severity,
        metadata={"found": "\n".join(cases[:MOST_TOLD]) or "nothing"},
    )
