"""Every run of Dagster begins and ends in store/runs.jsonl once, and says how."""

from __future__ import annotations

import json
import os
import warnings
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.errors import WorkspaceError
from pipelines.nightly.notifications import after_failure
from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.run_lines import AS_OF_TAG, run_of
from pipelines.steps.all_steps import STEPS
from pipelines.store.transaction import RefreshSession

DAY, NEXT_DAY = "2025-12-31", "2026-01-01"
ALL_ASSETS = [name for step in STEPS for name in step.tables]
NOTE = Path("published/assets/status.js")
pytestmark = pytest.mark.filterwarnings("ignore")


def lines(root: Path, run: str) -> list[dict]:
    """The lines of one run."""
    found = (root / "store/runs.jsonl").read_text().splitlines()
    return [told for told in map(json.loads, found) if told["run"] == run]


def ended(root: Path, run: str) -> dict:
    """The end of a run, which has one beginning and one end."""
    told = lines(root, run)
    assert [line["event"] for line in told] == ["begin", "end"]
    assert all(told[0][name] == told[1][name] for name in ("selection", "by", "as_of"))
    return told[1]


def end(bench, **asked) -> dict:
    """The end of one run of the workbench."""
    return ended(bench.root, bench.run(**asked).result.run_id)


def leave_a_note(root: Path) -> None:
    """The pages and the log as a whole run leaves them that failed."""
    after_failure(root, WorkspaceError("terms/W2.toml line 1: no value."))
    assert "W2.toml" in (root / NOTE).read_text()


def test_a_whole_run_that_finds_nothing_new_clears_note_and_left_overs(bench) -> None:
    """Through Dagster as through the command; exit code 1, for a feed is stale."""
    leave_a_note(bench.root)
    (bench.root / "published.new").mkdir()
    (bench.root / "store/limeledger.duckdb.new").write_text("half")
    told = end(bench)
    assert (told["selection"], told["by"], told["as_of"]) == ("all", "dagster", DAY)
    assert (told["outcome"], told["exit_code"]) == ("already_current", 1)
    assert (bench.root / NOTE).read_text() == "window.limeledgerStatus = null;\n"
    assert not (bench.root / "published.new").exists()
    assert not (bench.root / "store/limeledger.duckdb.new").exists()


@pytest.mark.parametrize(
    ("tags", "by"),
    [
        ({"dagster/schedule_name": "nightly"}, "schedule"),
        ({"dagster/sensor_name": "exports_folder"}, "sensor"),
    ],
)
def test_a_selection_of_all_assets_is_a_whole_run(bench, tags: dict, by: str) -> None:
    """As `dagster asset materialize --select '*'` asks for it; who asked is told."""
    told = end(bench, selection=ALL_ASSETS, tags=tags)
    assert (told["selection"], told["by"], told["outcome"]) == ("all", by, "already_current")


def test_the_day_of_a_run_without_one_is_told(bench, monkeypatch) -> None:
    """Neither configuration nor tag gives it: it is today, in the beginning as in the end."""
    monkeypatch.setenv("LIMELEDGER_NOW", f"{DAY}T12:00:00+00:00")
    told = end(bench, selection=ALL_ASSETS[:1], as_of=None)
    assert told["as_of"] == DAY


def test_parts_touch_no_note(bench) -> None:
    """Done, already current and refused parts name their assets; the night's note stays."""
    leave_a_note(bench.root)
    before = bench.published()
    first = STEPS[0].tables
    told = end(bench, selection=list(first), as_of=NEXT_DAY)
    assert (told["selection"], told["outcome"]) == (sorted(first), "done")
    assert told["exit_code"] == 0
    told = end(bench, selection=list(first), as_of=NEXT_DAY)
    assert (told["outcome"], told["exit_code"]) == ("already_current", 0)
    told = end(bench, selection=["decisions"], as_of=NEXT_DAY)
    assert (told["selection"], told["outcome"]) == (["decisions"], "refused")
    assert told["exit_code"] == 2
    assert "Nothing was written" in told["sentence"]
    assert bench.published() == before


def test_a_blocking_check_that_fails_ends_the_run_as_failed(bench, monkeypatch) -> None:
    """No step has raised anything; Dagster's own event says it."""
    name = next(iter(STEPS[0].tables))
    monkeypatch.setattr(
        RefreshSession, "cases", lambda self, table: ["a case"] if table == name else []
    )
    told = end(bench, as_of=NEXT_DAY)
    assert (told["outcome"], told["exit_code"]) == ("failed", 70)
    assert "check" in told["sentence"]
    assert '"exit_code": 70' in (bench.root / NOTE).read_text()


def test_the_rest_of_a_whole_run_executed_again_is_whole() -> None:
    """A re-execution that reaches the publication is; one of a step names that step's tables."""
    steps = [step.name for step in STEPS]
    tags = {"dagster/schedule_name": "nightly", AS_OF_TAG: DAY}

    def told(**more: object) -> tuple:
        run = run_of(dg.DagsterRun("refresh", tags=tags, **more), None)
        return run.selection if run.selection == "all" else set(run.selection), run.by, run.as_of

    assert told() == ("all", "schedule", DAY)
    again = {"parent_run_id": "one", "root_run_id": "one"}
    assert told(step_keys_to_execute=steps[3:], **again) == ("all", "dagster", DAY)
    one = told(step_keys_to_execute=[steps[0]], **again)
    assert one == (set(STEPS[0].tables), "dagster", DAY)


def of_many_processes() -> dg.JobDefinition:
    """The job with each step in a process of its own, for the workspace of the environment."""
    made = build_definitions(os.environ["LIMELEDGER_WORKSPACE"], wait_seconds=60.0)
    job = dg.define_asset_job(
        "refresh",
        selection=dg.AssetSelection.all(),
        executor_def=dg.multiprocess_executor.configured({"max_concurrent": 2}),
    )
    return dg.Definitions(assets=made.assets, resources=made.resources, jobs=[job]).resolve_job_def(
        "refresh"
    )


def test_each_step_in_a_process_of_its_own_begins_and_ends_the_run_once(
    bench, tmp_path, monkeypatch
) -> None:
    """The first step begins it, the last ends it; a step that fails ends it as failed."""
    monkeypatch.setenv("LIMELEDGER_WORKSPACE", str(bench.root))
    home = tmp_path / "home"
    home.mkdir()
    chosen = [next(iter(step.tables)) for step in STEPS[:2]]
    with dg.DagsterInstance.local_temp(str(home)) as instance:

        def run(as_of: str) -> dict:
            with dg.execute_job(
                dg.reconstructable(of_many_processes),
                instance=instance,
                asset_selection=[dg.AssetKey(name) for name in chosen],
                run_config={"resources": {"session": {"config": {"as_of": as_of}}}},
            ) as result:
                return ended(bench.root, result.run_id)

        told = run(NEXT_DAY)
        assert (told["selection"], told["outcome"]) == (sorted(chosen), "done")
        assert run(NEXT_DAY)["outcome"] == "already_current"
        (bench.root / "terms" / "W2.toml").write_text("edition = \n")
        told = run(NEXT_DAY)
        assert (told["outcome"], told["exit_code"]) == ("failed", 2)
