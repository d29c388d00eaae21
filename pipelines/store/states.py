"""Of which inputs a table is the result: the state of a run, and the table `table_states`.

Belongs here: one digest a kind of input, the state over all of them, and putting down of which
state a table is. Does not belong here: what is done where states differ (`transaction`).

A state is the SHA-256 over the exports, mappings, reference files, terms, settings, what people
recorded, the as-of day and the tool. Paths in it are relative to the workspace.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import duckdb

from pipelines.store.database import has_table, identifier, read_frame, write_frame
from pipelines.store.deliveries import Delivered, delivered
from pipelines.store.inputs import Inputs
from pipelines.workspace.clock import now
from pipelines.workspace.layout import OPINIONS
from pipelines.workspace.tool import source_hash
from schemas.codes import DESK_FILE
from schemas.columns import polars_schema
from schemas.states import INPUT_KINDS, TableStates

TABLE_STATES = "table_states"


@dataclass(frozen=True)
class RunState:
    """What decides the content of every table: a digest a kind of input, the day and the tool."""

    as_of: dt.date
    exports: str
    mappings: str
    reference: str
    terms: str
    settings: str
    recorded: str
    tool_version: str
    tool: str

    @property
    def state(self) -> str:
        """The SHA-256 over all of it but the version, which the tool's source says already."""
        parts = asdict(self) | {"as_of": self.as_of.isoformat()}
        del parts["tool_version"]
        return digest(parts)

    def of_inputs(self) -> dict[str, str]:
        """The digest of each kind of input, by its name."""
        return {kind: getattr(self, kind) for kind in INPUT_KINDS}


def digest(content: object) -> str:
    """The SHA-256 over what JSON can hold."""
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def run_state(inputs: Inputs) -> RunState:
    """The state of these inputs, with the exports and the recorded files as they lie there now.

    Raises:
        WorkspaceError: exports/ cannot be read.
    """
    files = delivered(inputs)
    recorded = [[name, _sha256(content)] for name, content in recorded_files(inputs)]
    return RunState(
        as_of=inputs.as_of,
        exports=digest([_identity(file) for file in files if file.export.path != DESK_FILE]),
        recorded=digest(recorded),
        tool_version=tool_version(),
        tool=source_hash(),
        **inputs.digests,
    )


def recorded_files(inputs: Inputs) -> list[tuple[str, bytes]]:
    """What people recorded with the tool: what stands for it, each with a path to tell it by."""
    opinions = inputs.workspace.store / OPINIONS
    desk = inputs.recorded.content
    return [
        *([(DESK_FILE, desk)] if desk is not None else []),
        *([(f"../store/{OPINIONS}", opinions.read_bytes())] if opinions.is_file() else []),
    ]


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _identity(file: Delivered) -> list[str]:
    """An export by its path and hash; one that is not opened by why."""
    refusal = file.export.refusal
    return [file.export.path, file.sha256, refusal[0] if refusal else ""]


def tool_version() -> str:
    """The version of the installed tool."""
    try:
        return version("limeledger")
    except PackageNotFoundError:  # the source alone
        return "0"


def read_states(
    con: duckdb.DuckDBPyConnection, name: str = TABLE_STATES
) -> dict[str, dict[str, Any]]:
    """The rows of `table_states` by table; none where it is not there."""
    if not has_table(con, name):
        return {}
    frame = read_frame(con, name)
    if not set(polars_schema(TableStates)) <= set(frame.columns):
        return {}
    return {row["table"]: row for row in frame.iter_rows(named=True)}


def put_states(
    con: duckdb.DuckDBPyConnection, rows: Mapping[str, int], state: RunState, run: str
) -> None:
    """Puts down that tables, by how many rows they have, are now of that state.

    Belongs into their replacement's transaction.
    """
    if not rows:
        return
    if not has_table(con, TABLE_STATES):
        write_frame(con, TABLE_STATES, polars_schema(TableStates).to_frame())
    same = {
        "state": state.state,
        **asdict(state),
        "run": run,
        "made_at": now().replace(tzinfo=None),
    }
    marks = ", ".join("?" for _ in rows)  # a list to unnest would be joined, which takes longer
    con.execute(f'delete from {TABLE_STATES} where "table" in ({marks})', list(rows))
    columns, places = ", ".join(map(identifier, same)), ", ".join("?" for _ in same)
    con.execute(
        f'insert into {TABLE_STATES} ({columns}, "table", rows) '
        f"select {places}, unnest(?::varchar[]), unnest(?::bigint[])",
        [*same.values(), list(rows), list(rows.values())],
    )


def forget_state(con: duckdb.DuckDBPyConnection, table: str) -> None:
    """Takes away what is said of a table's inputs."""
    if has_table(con, TABLE_STATES):
        con.execute(f'delete from {TABLE_STATES} where "table" = ?', [table])


def forget_absent(con: duckdb.DuckDBPyConnection) -> None:
    """Takes away what is said of tables that are not there."""
    con.execute(
        f'delete from {TABLE_STATES} where "table" not in (select table_name from '
        "information_schema.tables where table_catalog = current_database() "
        "and table_schema = 'main')"
    )


def count_states(con: duckdb.DuckDBPyConnection) -> None:
    """Puts down how many rows `table_states` itself has, where it says so."""
    con.execute(
        f'update {TABLE_STATES} set rows = (select count(*) from {TABLE_STATES}) where "table" = ?',
        [TABLE_STATES],
    )


def difference(row: dict[str, Any] | None, state: RunState) -> str:
    """What a table's row of `table_states` has other than the run, in words."""
    if row is None:
        return "is not there"
    if row["as_of"] != state.as_of:
        return f"is as of {row['as_of']}, and this run as of {state.as_of}"
    other = [words for kind, words in INPUT_KINDS.items() if row[kind] != getattr(state, kind)]
    if other:
        return f"was made before {' and '.join(other)} changed"
    return "was made by another version of the tool"
