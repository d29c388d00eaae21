"""A run that failed, executed again from its failure, ends as the undisturbed one would have."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.jobs import JOB
from pipelines.steps.all_steps import STEPS
from pipelines.store import swap

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
NEXT_DAY = "2026-01-01"
QUIET = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}


class PlantedError(RuntimeError):
    """What stops a step."""


def job_of(workspace: str) -> dg.JobDefinition:
    """The job of a workspace, as a run that is executed again loads it."""
    definitions = build_definitions(Path(workspace), progress=lambda text: None)
    return definitions.resolve_job_def(JOB)


@pytest.fixture
def instance(tmp_path: Path) -> Iterator[dg.DagsterInstance]:
    """An instance that keeps its runs."""
    with dg.DagsterInstance.local_temp(str(tmp_path)) as opened:
        yield opened


def again(bench, run_id: str) -> dg.ExecuteJobResult:
    """Executes a run again from its failure, without a word on its day."""
    job = dg.build_reconstructable_job(
        "tests.graph.test_executed_again",
        "job_of",
        reconstructable_args=(str(bench.root),),
        reconstructor_working_directory=str(Path(__file__).parents[2]),
    )
    options = dg.ReexecutionOptions.from_failure(run_id, bench.instance)
    with dg.execute_job(
        job, bench.instance, run_config=QUIET, reexecution_options=options
    ) as result:
        return result


@pytest.fixture(scope="module")
def undisturbed(refreshed, tmp_path_factory):
    """The tables of the next day, which nothing disturbed."""
    bench = refreshed.copy(tmp_path_factory.mktemp("undisturbed") / "workspace")
    assert bench.run(as_of=NEXT_DAY).ended == "done"
    return bench.tables()


def test_a_failure_in_every_step(bench, instance, undisturbed, monkeypatch) -> None:
    """Each step fails once, and is executed again; store and pages stay as they were till the end.

    Then everything is as if nothing had been.
    """
    bench.instance = instance
    before = bench.published()
    failed: list[str] = []

    def failing_once(step):
        work = step.work

        def fail_or_work(*given: object):
            if step.name not in failed:
                failed.append(step.name)
                raise PlantedError(f"a planted fault in {step.name}")
            return work(*given)

        return fail_or_work

    for step in STEPS:
        monkeypatch.setitem(step.__dict__, "work", failing_once(step))
    run = bench.run(as_of=NEXT_DAY)
    assert run.ended == "failed"
    run_id, times = run.result.run_id, 1
    while not (result := again(bench, run_id)).success:
        now = bench.published()
        changed = {name for name in now if now[name] != before.get(name)}
        assert changed <= {"published/assets/status.js"}
        run_id, times = result.run_id, times + 1
        assert times <= len(STEPS), failed
    assert sorted(failed) == sorted(step.name for step in STEPS)
    assert bench.manifest()["as_of"] == NEXT_DAY
    assert differing(bench.tables(), undisturbed) == []


def differing(one: dict, other: dict) -> list[str]:
    """Names of tables that are not the same in two stores."""
    names = sorted({*one, *other})
    assert names
    return [n for n in names if n not in one or n not in other or not one[n].equals(other[n])]


def test_inputs_that_changed_since_are_refused(bench, instance, monkeypatch) -> None:
    """What the parent read is no longer there: a sentence, and nothing is written."""
    bench.instance = instance
    with monkeypatch.context() as patch:
        patch.setattr(swap, "swap_in", lambda _: (_ for _ in ()).throw(PlantedError("planted")))
        run = bench.run(as_of=NEXT_DAY)
    assert run.ended == "failed"
    path = bench.root / "terms" / "W1.toml"
    path.write_text(path.read_text("utf-8") + "\n# a note\n", "utf-8")
    before = bench.published()
    result = again(bench, run.result.run_id)
    assert not result.success
    [told] = [
        event.step_failure_data.user_failure_data.description
        for event in result.all_events
        if event.is_step_failure and event.step_failure_data.user_failure_data
    ][:1]
    assert "have changed since" in told
    now = bench.published()
    changed = {name for name in now if now[name] != before.get(name)}
    assert changed <= {"published/assets/status.js"}


def test_a_store_that_cannot_take_its_name(bench, instance, undisturbed, monkeypatch) -> None:
    """All is made and staged by then; what is left of it is enough to publish."""
    bench.instance = instance
    real = os.replace

    def fail(source: Path, target: Path) -> None:
        if Path(target).name == "limeledger.duckdb":
            raise OSError(28, "No space left on device")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", fail)
        run = bench.run(as_of=NEXT_DAY)
    assert run.ended == "failed"
    assert bench.manifest()["as_of"] != NEXT_DAY
    assert again(bench, run.result.run_id).success
    assert bench.manifest()["as_of"] == NEXT_DAY
    assert differing(bench.tables(), undisturbed) == []
