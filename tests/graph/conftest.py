"""A refreshed workspace that is copied, and runs of any selection of its assets in this process."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.jobs import JOB
from pipelines.steps import figures
from pipelines.store.database import connect, table_names
from pipelines.store.published_state import published_manifest
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES
from tests.shared import made_once

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
DAY, NEXT_DAY = "2025-12-31", "2026-01-01"
# What tells of a run and not of its inputs.
OF_THE_RUN = ("run", "made_at", "decided_at", "published_at", "publication", "last_event")


@dataclass(frozen=True)
class Run:
    """How a run ended: the events of Dagster, what was told, and the sentence where it failed."""

    result: dg.ExecuteInProcessResult
    told: list[str]
    instance: dg.DagsterInstance

    @property
    def ended(self) -> str:
        """done, already current, refused or failed."""
        if self.result.success:
            flags = [one["already_current"].value for one in self.metadata().values()]
            assert flags, "a run that makes nothing says nothing"
            return "already current" if all(flags) else "done"
        return "refused" if self.sentence and "Nothing was written" in self.sentence else "failed"

    @property
    def sentence(self) -> str | None:
        """The description of Dagster's failure; None where there is none."""
        for event in self.result.filter_events(lambda event: event.is_step_failure):
            told = event.step_failure_data.user_failure_data
            if told is not None:
                return told.description
        return None

    def metadata(self) -> dict[str, dict]:
        """The metadata of each materialization, by asset."""
        made = [
            event.step_materialization_data.materialization
            for event in self.result.get_asset_materialization_events()
        ]
        return {one.asset_key.to_user_string(): one.metadata for one in made}


@dataclass
class Workbench:
    """One workspace with its own Dagster instance, and runs of it in this process."""

    root: Path
    instance: dg.DagsterInstance
    told: list[str] = field(default_factory=list)
    in_full: bool = True
    _job: dg.JobDefinition | None = None

    def job(self) -> dg.JobDefinition:
        """The job of the workspace, with the settings that it had when it first ran."""
        if self._job is None:
            definitions = build_definitions(
                self.root, progress=self.told.append, in_full=self.in_full
            )
            self._job = definitions.resolve_job_def(JOB)
        return self._job

    def run(
        self,
        selection: Sequence[str] | None = None,
        as_of: str | None = DAY,
        config: dict | None = None,
        **more: object,
    ) -> Run:
        """Runs the job, or some of its assets."""
        self.told.clear()
        given = {"as_of": as_of} if config is None else config
        result = self.job().execute_in_process(
            instance=self.instance,
            raise_on_error=False,
            run_config={
                "resources": {"session": {"config": given}},
                "loggers": {"console": {"config": {"log_level": "CRITICAL"}}},
            },
            asset_selection=[dg.AssetKey(name) for name in selection] if selection else None,
            **more,
        )
        return Run(result, list(self.told), self.instance)

    def files(self) -> dict[str, bytes]:
        """Every byte of store and pages; the lock's file is left out."""
        return {
            str(path.relative_to(self.root)): path.read_bytes()
            for folder in ("store", "published")
            for path in sorted((self.root / folder).rglob("*"))
            if path.is_file() and path.suffix not in (".lock", ".log", ".jsonl")
        }

    def published(self) -> dict[str, bytes]:
        """Every byte of the store itself and the pages: what no unfinished run may change."""
        return {
            name: content
            for name, content in self.files().items()
            if name.startswith("published/") or name == "store/limeledger.duckdb"
        }

    def tables(self) -> dict[str, pl.DataFrame]:
        """The tables of the store, rows in one order, without what tells of the run."""
        con = connect(self.root / "store" / "limeledger.duckdb", read_only=True)
        try:
            found = {name: con.sql(f'from "{name}"').pl() for name in table_names(con)}
        finally:
            con.close()
        return {
            name: in_one_order(frame.drop(OF_THE_RUN, strict=False))
            for name, frame in found.items()
        }

    def manifest(self) -> dict:
        """What the pages say of themselves."""
        return published_manifest(self.root / "published")

    def copy(self, folder: Path, instance: dg.DagsterInstance | None = None) -> Workbench:
        """The same workspace elsewhere."""
        return Workbench(shutil.copytree(self.root, folder), instance or self.instance)


def in_one_order(frame: pl.DataFrame) -> pl.DataFrame:
    """The same rows, sorted by all that they hold."""
    if frame.is_empty():
        return frame
    return frame.with_columns(_key=frame.hash_rows(seed=1)).sort("_key").drop("_key")


def differing(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> list[str]:
    """Names of tables that are not the same in two stores."""
    names = sorted({*one, *other})
    return [n for n in names if n not in one or n not in other or not one[n].equals(other[n])]


def empty_figures(_: object, wanted: Sequence[str]) -> Iterator[tuple[str, pl.DataFrame]]:
    """Figures without a row, by the names and columns of the real ones."""
    for name in figures.FIGURES:
        if name in wanted:
            yield name, polars_schema(FIELD_TABLES[name]).to_frame()


@pytest.fixture(scope="session")
def quick() -> Iterator[None]:
    """Leaves the estimates out, most of the time of a small refresh."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "figure_tables", empty_figures)
        yield


@pytest.fixture(scope="session")
def refreshed(quick: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    """The worked claims, refreshed once for all processes. Do not touch."""

    def make(folder: Path) -> str:
        shutil.copytree(CASES, folder)
        with dg.DagsterInstance.ephemeral() as instance:
            assert Workbench(folder, instance).run().ended == "done"
        return ""

    folder, _ = made_once(tmp_path_factory, "refreshed_by_dagster", make)
    with dg.DagsterInstance.ephemeral() as instance:
        yield Workbench(folder, instance)


@pytest.fixture
def bench(refreshed: Workbench, tmp_path: Path) -> Iterator[Workbench]:
    """A copy of the refreshed workspace, to do with what a test likes."""
    with dg.DagsterInstance.ephemeral() as instance:
        yield refreshed.copy(tmp_path / "workspace", instance)


Change = Callable[[Path], None]
