"""Claims decided in partitions, by region and month of failure, against the tables of a refresh."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.definitions import build_definitions
from pipelines.defs.cells import CELLS
from pipelines.defs.cells import JOB as CELLS_JOB
from pipelines.defs.jobs import JOB
from pipelines.errors import NotFoundError
from pipelines.refresh.cells import TABLES, cells_folder, decide_cell, read_cells, write_cell
from pipelines.refresh.reading import published_table
from pipelines.workspace.layout import Workspace

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
QUIET = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@pytest.fixture(scope="module")
def refreshed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The worked claims, refreshed once."""
    folder = tmp_path_factory.mktemp("cells") / "workspace"
    shutil.copytree(CASES, folder)
    definitions = build_definitions(folder, as_of="2025-12-31", progress=lambda text: None)
    with dg.DagsterInstance.ephemeral() as instance:
        job = definitions.resolve_job_def(JOB)
        assert job.execute_in_process(instance=instance, run_config=QUIET).success
    return folder


@pytest.fixture
def instance() -> Iterator[dg.DagsterInstance]:
    """An instance that knows no partition yet."""
    with dg.DagsterInstance.ephemeral() as instance:
        yield instance


def asked(folder: Path, instance: dg.DagsterInstance, cursor: str | None = None) -> dg.SensorResult:
    """What the sensor wants run, with its partitions added to the instance."""
    sensor = build_definitions(folder).resolve_sensor_def("cells")
    result = sensor(dg.build_sensor_context(instance=instance, cursor=cursor))
    for request in result.dynamic_partitions_requests or ():
        instance.add_dynamic_partitions(CELLS.name, list(request.partition_keys))
    return result


def test_cells_together_are_the_tables_of_the_refresh(refreshed, instance) -> None:
    """No claim is lost or decided otherwise, also without region, unit or failure date."""
    keys = [request.partition_key for request in asked(refreshed, instance).run_requests]
    assert len(keys) > 5
    job = build_definitions(refreshed).resolve_job_def(CELLS_JOB)
    for key in keys[:2]:
        run = job.execute_in_process(instance=instance, partition_key=key, run_config=QUIET)
        assert run.success
    workspace = Workspace.open(refreshed)
    for key in keys[2:]:
        write_cell(workspace, key)
    for table in TABLES:
        assert_frame_equal(read_cells(workspace, table), published_table(refreshed, table))


def test_a_cell_holds_its_own_region_and_month_alone(refreshed, instance) -> None:
    """The partition key says what is in it."""
    key = asked(refreshed, instance).run_requests[0].partition_key
    region, month = key.split("_")
    decisions = decide_cell(Workspace.open(refreshed), key).decisions
    assert decisions["region"].fill_null("nowhere").unique().to_list() == [region]
    failed = pl.col("failed_on").dt.strftime("%Y-%m")
    assert decisions.select(failed).to_series().unique().to_list() == [month]


def test_the_sensor_waits_for_the_next_refresh(refreshed, instance) -> None:
    """The same store asks for nothing twice; cells of another refresh go."""
    cursor = asked(refreshed, instance).cursor
    stale = cells_folder(Workspace.open(refreshed)).with_name("20200101000000")
    stale.mkdir(parents=True)
    assert not asked(refreshed, instance, cursor).run_requests
    assert asked(refreshed, instance).run_requests
    assert not stale.exists()


def test_a_cell_without_claims_is_refused(refreshed) -> None:
    """A key that somebody typed wrongly decides nothing."""
    with pytest.raises(NotFoundError, match="US-ZZ_1999-01"):
        decide_cell(Workspace.open(refreshed), "US-ZZ_1999-01")
