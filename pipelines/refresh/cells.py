"""Claims decided a cell at a time, for makers that one machine no longer serves.

Belongs here: what a cell is (a region and a month of failure), deciding one from the store as the
last refresh left it, and laying its tables down as Parquet. Does not belong here: any rule, or who
runs which cell where (`pipelines.defs.cells`).

Cells share nothing but the store, which each opens to read only. Their files can stand on any disk
or object storage; DuckDB reads them as one table.
"""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
from pathlib import Path

import duckdb
import polars as pl

from pipelines.coverage import decide
from pipelines.errors import NotFoundError
from pipelines.refresh.decide import DecidedTables, claims_on_record, suggested_serials
from pipelines.refresh.evidence import evidence_around
from pipelines.refresh.inputs import load_inputs
from pipelines.refresh.reading import open_store, store_facts
from pipelines.warehouse.database import query_frame
from pipelines.workspace.layout import Workspace

FOLDER = "cells"  # below store/
TABLES = ("decisions", "findings")
NOWHERE, UNDATED = "nowhere", "undated"
_CELL = (
    f"coalesce(u.region, '{NOWHERE}') || '_' || "
    f"coalesce(strftime(coalesce(c.failed_on, c.opened_on), '%Y-%m'), '{UNDATED}')"
)


def cells_of(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Every cell that has a claim: `US-KS_2026-03`, in order."""
    found = query_frame(
        con,
        f"select distinct {_CELL} as cell from service_calls c left join units u using (serial) "
        "where c.claim is not null and c.kind = 'repair' order by cell",
    )
    return found["cell"].to_list()


def decide_cell(workspace: Workspace, cell: str) -> DecidedTables:
    """The decisions and findings of one cell, as the last refresh made them.

    Raises:
        NotFoundError: no claim on record is of that cell.
        WorkspaceError: nothing has been refreshed yet.
    """
    with open_store(workspace) as con:
        facts = store_facts(workspace, con)
        inputs = load_inputs(workspace.root, facts["as_of"])
        claims = claims_on_record(con, where=f"{_CELL} = ?", values=[cell])
        if claims.is_empty():
            raise NotFoundError(f"No claim on record is of the cell {cell}.")
        evidence = evidence_around(inputs, con, claims["serial"].unique())
        decided = decide(
            evidence,
            inputs.terms,
            _history_before(con, facts["refreshed_at"]),
            inputs.settings.timezone,
            only=claims.select("claim"),
            suggestions=suggested_serials(inputs, con, claims["serial"]),
        )
    return DecidedTables(decided.findings, decided.decisions, pl.DataFrame())


def write_cell(workspace: Workspace, cell: str) -> dict[str, int]:
    """Decides a cell and lays its tables down, each file whole or not at all; rows by table."""
    decided = decide_cell(workspace, cell)
    folder = cells_folder(workspace) / cell
    folder.mkdir(parents=True, exist_ok=True)
    rows = {}
    for name in TABLES:
        frame: pl.DataFrame = getattr(decided, name)
        unfinished = folder / f"{name}.parquet.new"
        frame.write_parquet(unfinished)
        os.replace(unfinished, folder / f"{name}.parquet")
        rows[name] = frame.height
    return rows


def read_cells(workspace: Workspace, table: str) -> pl.DataFrame:
    """One table out of all cells' files, in the order in which a refresh writes it."""
    order = ["claim", "position"] if table == "findings" else ["claim"]
    return pl.read_parquet(cells_folder(workspace) / "*" / f"{table}.parquet").sort(order)


def cells_folder(workspace: Workspace) -> Path:
    """Where the cells of the last refresh go: a folder of its own, so that none is of another."""
    with open_store(workspace) as con:
        told = refreshed_at(con)
    return workspace.store / FOLDER / re.sub(r"\D", "", told)


def refreshed_at(con: duckdb.DuckDBPyConnection) -> str:
    """The moment of the last refresh, as the store tells it."""
    told = query_frame(con, "select value from store_facts where fact = 'refreshed_at'")
    return told["value"].item()


def forget_earlier_cells(workspace: Workspace) -> None:
    """Removes the cells of refreshes before the last."""
    kept = cells_folder(workspace)
    if kept.parent.is_dir():
        for folder in kept.parent.iterdir():
            if folder != kept:
                shutil.rmtree(folder, ignore_errors=True)


def _history_before(con: duckdb.DuckDBPyConnection, refreshed_at: str) -> pl.DataFrame:
    """The history as the last refresh found it, without what it added itself."""
    begun = dt.datetime.fromisoformat(refreshed_at)
    return query_frame(con, "select * from decision_history where decided_at < ?", [begun])
