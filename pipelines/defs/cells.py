"""Claims decided in partitions, each a run of its own on whatever machine Dagster launches it.

Belongs here: the partitioned assets, their job and the sensor that keeps the partitions in step
with the store. Does not belong here: what a cell is or how it is decided
(`pipelines.refresh.cells`).

One machine needs none of it: the nightly job decides all claims itself. Past that, an instance with
a run launcher for many machines starts the sensor, and each run writes the Parquet files of one
region and month.
"""

from collections.abc import Iterator
from pathlib import Path

import dagster as dg

from pipelines.refresh.cells import TABLES, cells_of, forget_earlier_cells, refreshed_at, write_cell
from pipelines.refresh.reading import open_store
from pipelines.workspace.layout import Workspace

JOB = "decide_cells"
GROUP = "cells"
CELLS = dg.DynamicPartitionsDefinition(name="region_and_month")


def cell_assets(workspace: Path) -> dg.AssetsDefinition:
    """The decisions and findings of one region and month as Parquet files."""

    @dg.multi_asset(
        name="claim_cells",
        specs=[
            dg.AssetSpec(
                f"{table}_by_cell",
                group_name=GROUP,
                kinds={"polars", "parquet"},
                description=f"One file is the {table} of one region and month of failure.",
            )
            for table in TABLES
        ],
        partitions_def=CELLS,
    )
    def claim_cells(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
        rows = write_cell(Workspace.open(workspace), context.partition_key)
        for table, height in rows.items():
            yield dg.MaterializeResult(
                asset_key=f"{table}_by_cell", metadata={"dagster/row_count": height}
            )

    return claim_cells


def cells_job() -> "dg.UnresolvedAssetJobDefinition":
    """One run a cell."""
    return dg.define_asset_job(
        JOB,
        selection=dg.AssetSelection.groups(GROUP),
        description="Decides the claims of one region and month, from the store to Parquet files.",
    )


def cells_sensor(job: "dg.UnresolvedAssetJobDefinition", workspace: Path) -> dg.SensorDefinition:
    """After each refresh, one run for every cell of the store; off until someone starts it."""

    @dg.sensor(
        name="cells",
        job=job,
        minimum_interval_seconds=60,
        default_status=dg.DefaultSensorStatus.STOPPED,
        description="Decides every region and month in a run of its own after each refresh.",
    )
    def cells(context: dg.SensorEvaluationContext) -> dg.SensorResult:
        opened = Workspace.open(workspace)
        if not opened.database.exists():
            return dg.SensorResult(skip_reason="Nothing has been refreshed yet.")
        with open_store(opened) as con:
            refreshed = refreshed_at(con)
            if refreshed == context.cursor:
                return dg.SensorResult(skip_reason="The store is as it was.", cursor=refreshed)
            found = cells_of(con)
        forget_earlier_cells(opened)
        return dg.SensorResult(
            dynamic_partitions_requests=[CELLS.build_add_request(found)],
            run_requests=[
                dg.RunRequest(run_key=f"{cell}-{refreshed}", partition_key=cell) for cell in found
            ],
            cursor=refreshed,
        )

    return cells
