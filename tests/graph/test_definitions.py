"""The Dagster side: assets, checks, the job, its schedule and its sensor."""

from __future__ import annotations

import datetime as dt
import shutil
import warnings
from pathlib import Path

import polars as pl
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.jobs import JOB, inputs_lying
from pipelines.orchestration.telling import blocking_result
from pipelines.steps.all_steps import STEPS
from pipelines.store.table_writer import failing_cases
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings
from schemas.accounts import SetAside
from schemas.columns import polars_schema
from tests.end_to_end.conftest import refreshed_claims
from tests.graph.conftest import Workbench, differing

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
_DICTIONARY = ("table", "column", "description")
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """A workspace that has not been refreshed."""
    folder = tmp_path / "workspace"
    shutil.copytree(CASES, folder)
    return folder


def graph(definitions: dg.Definitions) -> dict[str, dict]:
    """Group, dependencies, checks and first sentence of every asset."""
    told = {}
    for node in definitions.resolve_asset_graph().asset_nodes:
        if not node.is_materializable:
            continue
        told[node.key.to_user_string()] = {
            "group": node.group_name,
            "deps": sorted(key.to_user_string() for key in node.parent_keys),
            "checks": sorted(check.name for check in node.check_keys),
            "description": (node.description or "").split(". ")[0].rstrip(".") + ".",
        }
    return dict(sorted(told.items()))


# What a table cannot be told without, whatever the code declares.
RESTS_ON = {
    "units": {"parsed_units", "parsed_set_aside"},
    "unit_histories": {"units", "startups", "service_calls", "water_tests", "terms_values"},
    "findings": {
        "units",
        "service_calls",
        "startups",
        "water_tests",
        "treatment_purchases",
        "terms_values",
        "terms_water_limits",
        "terms_installation_limits",
        "reference_agencies",
        "reference_causes",
    },
    "decisions": {"findings", "rulings", "reference_agencies"},
    "payments": {"decisions", "credits"},
    "upcoming": {"unit_histories", "water_tests", "treatment_purchases"},
    "letters": {"decisions", "findings", "startup_reviews", "treatment_recommendations"},
    "rates": {"exposure_failures", "exposure_units"},
    "costs": {"decisions", "exposure_units"},
    "published_pages": {"decisions", "payments", "letters", "upcoming", "rates", "unit_histories"},
}
OWN_CHECKS = {
    ("row_accounts", "ends_add_up"),
    ("joins", "joins_match"),
    ("feed_states", "fresh"),
    ("set_aside", "within_tolerance"),
    ("night_checks", "claims_as_usual"),
    ("night_checks", "laboratories_as_usual"),
}


def test_the_graph_is_that_of_the_steps(workspace: Path) -> None:
    """Each table is one asset, in its step's group, and rests on what its step says it reads."""
    now = graph(build_definitions(workspace))
    steps = {name: step for step in STEPS for name in step.tables}
    assert now.keys() == steps.keys()
    for name, asset in now.items():
        step = steps[name]
        read = {*step.sources, *step.read_for([name]), *step.within.get(name, ())}
        assert (asset["group"], asset["deps"]) == (step.group, sorted(read)), name
        assert ("fits_schema" in asset["checks"]) == (step.table_class(name) is not None), name


@pytest.mark.parametrize("name", RESTS_ON)
def test_a_table_rests_on_what_it_cannot_be_told_without(name: str, workspace: Path) -> None:
    """A dependency that is no longer declared would let a table be of other inputs."""
    assert RESTS_ON[name] <= set(graph(build_definitions(workspace))[name]["deps"])


def test_checks_of_tables_are_there(workspace: Path) -> None:
    """Those beside the one of the schema, each on its table."""
    now = graph(build_definitions(workspace))
    found = {(name, check) for name, asset in now.items() for check in asset["checks"]}
    assert {one for one in found if one[1] != "fits_schema"} == OWN_CHECKS


def test_every_description_says_what_one_row_is(workspace: Path) -> None:
    """People read descriptions to learn the grain of a table."""
    assets = graph(build_definitions(workspace))
    assert len(assets) > 80
    for name, asset in assets.items():
        assert asset["description"].startswith(("One row is ", "One file is ")), name


def test_definitions_load(workspace: Path) -> None:
    """Dagster itself finds nothing wrong with them."""
    dg.Definitions.validate_loadable(build_definitions(workspace))


def test_dagster_finds_the_whole_when_it_loads_the_module() -> None:
    """Not the assets that the module imports, which alone lack job, schedule and session."""
    from dagster._core.workspace.autodiscovery import loadable_targets_from_python_module

    [found] = loadable_targets_from_python_module(
        "pipelines.orchestration.definitions", working_directory=None
    )
    assert found.attribute == "defs"


def test_the_night_is_the_workspaces(workspace: Path) -> None:
    """The schedule runs at the hour of the settings, in the workspace's time zone."""
    settings = workspace / "limeledger.toml"
    settings.write_text(settings.read_text("utf-8") + '[nightly]\nat = "03:40"\n', "utf-8")
    schedule = build_definitions(workspace).resolve_schedule_def("nightly")
    assert schedule.cron_schedule == "40 3 * * *"
    assert schedule.execution_timezone == "America/Denver"


@pytest.mark.parametrize(
    ("tick", "clock_says", "day"),
    [
        ("2026-11-03T23:59:00-07:00", None, "2026-11-03"),  # in Denver, and looked at days later
        ("2026-11-04T06:59:00+00:00", None, "2026-11-03"),
        ("2026-11-03T23:59:00-07:00", "2025-12-31T12:00:00+00:00", "2025-12-31"),
        (None, "2025-12-31T06:59:00+00:00", "2025-12-30"),
    ],
)
def test_the_night_is_of_the_day_of_its_tick(
    workspace: Path, monkeypatch, tick: str | None, clock_says: str | None, day: str
) -> None:
    """A tick shortly before midnight is looked at after it; a given clock goes before both."""
    if clock_says is None:
        monkeypatch.delenv("LIMELEDGER_NOW", raising=False)
    else:
        monkeypatch.setenv("LIMELEDGER_NOW", clock_says)
    schedule = build_definitions(workspace).resolve_schedule_def("nightly")
    at = dt.datetime.fromisoformat(tick) if tick else None
    (request,) = schedule.evaluate_tick(
        dg.build_schedule_context(scheduled_execution_time=at)
    ).run_requests
    assert request.tags["limeledger/as_of"] == day
    assert request.run_config["resources"]["session"]["config"]["as_of"] == day


def test_the_sensor_waits_until_a_delivery_is_complete(workspace: Path) -> None:
    """A change is looked at twice; one delivery gives one run."""
    sensor = build_definitions(workspace).resolve_sensor_def("exports_folder")
    exports = workspace / "exports"

    def look(cursor: str | None) -> tuple[list, str | None]:
        with dg.DagsterInstance.ephemeral() as instance:
            context = dg.build_sensor_context(instance=instance, cursor=cursor)
            told = sensor.evaluate_tick(context)
            return list(told.run_requests or []), told.cursor

    runs, cursor = look(None)
    assert runs == []
    runs, cursor = look(cursor)
    lying = inputs_lying(Workspace.open(workspace), load_settings(Workspace.open(workspace)))
    assert [run.run_key for run in runs] == [f"inputs-{lying}-after-0"]
    runs, cursor = look(cursor)
    assert runs == []
    (exports / "units" / "more.csv").write_text("serial,model,shipped_on\n", "utf-8")
    runs, cursor = look(cursor)
    assert runs == []
    runs, cursor = look(cursor)
    assert len(runs) == 1
    assert look(cursor)[0] == []
    # The file goes, after others were published: it is not asked for under the key of before.
    (workspace / "published").mkdir()
    (workspace / "published" / "manifest.json").write_text('{"publication": 4}', "utf-8")
    (exports / "units" / "more.csv").unlink()
    _, cursor = look(cursor)
    assert [run.run_key for run in look(cursor)[0]] == [f"inputs-{lying}-after-4"]


def test_the_job_runs_in_one_process_and_passes_its_checks(
    workspace: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The nightly job materializes everything as the command does; every blocking check passes."""
    definitions = build_definitions(workspace, as_of="2025-12-31", progress=lambda text: None)
    quiet = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}
    with dg.DagsterInstance.ephemeral() as instance:
        result = definitions.resolve_job_def(JOB).execute_in_process(
            instance=instance, run_config=quiet
        )
    assert result.success
    made = {
        event.asset_key.to_user_string(): event.step_materialization_data.materialization.metadata
        for event in result.get_asset_materialization_events()
    }
    checks = result.get_asset_check_evaluations()
    failed = {(one.asset_key.to_user_string(), one.check_name) for one in checks if not one.passed}
    assert failed == {("feed_states", "fresh")}  # two feeds are stale: a warning
    assert len(checks) > 30
    assert (workspace / "published" / "index.html").is_file()
    # The command walks the same steps without Dagster, to the same tables.
    other, _ = refreshed_claims(tmp_path_factory)
    tables = Workbench(workspace, instance).tables()
    assert tables["decisions"].height > 30
    # Each column that Dagster shows is described as in the dictionary, where it stands as well.
    shown = ("units", "decisions", "exposure_units", "publications")
    schemas = {name: made[name]["dagster/column_schema"].value.columns for name in shown}
    described = {(name, one.name): one.description for name in shown for one in schemas[name]}
    dictionary = tables["data_dictionary"].filter(pl.col("table").is_in(shown))
    assert described == {row[:2]: row[2] for row in dictionary.select(*_DICTIONARY).rows()}
    assert described["units", "arrived_on"]
    assert differing(tables, Workbench(other, instance).tables()) == []


def test_a_frame_that_does_not_fit_fails_its_check() -> None:
    """A null key, a missing column: the check fails and names the case."""
    good = polars_schema(SetAside).to_frame()
    assert failing_cases(good, SetAside) == []
    lacking = failing_cases(good.drop("rule"), SetAside)
    assert lacking == ["the column rule is missing"]
    told = blocking_result("fits_schema", "set_aside", lacking)
    assert not told.passed
    assert told.severity == dg.AssetCheckSeverity.ERROR
    assert "the column rule is missing" in str(told.metadata["found"].value)
    row = {"feed": "units", "file": None, "line": 0, "rule": "x", "reason": "y"}
    wrong = failing_cases(pl.DataFrame([row], schema=good.schema), SetAside)
    assert any("file" in case for case in wrong)
    assert any("line" in case for case in wrong)


def test_no_decision_depends_on_what_notes_suggest(workspace: Path) -> None:
    """Upstream of the decisions stands neither a suggested cause nor the file of phrases."""
    told = graph(build_definitions(workspace))
    upstream, asked = set(), ["decisions", "findings", "decision_history"]
    while asked:
        name = asked.pop()
        if name not in upstream:
            upstream.add(name)
            asked += [dep for dep in told[name]["deps"] if dep in told]
    assert "service_calls" in upstream
    assert not [name for name in upstream if name.startswith("cause_")]
    assert "reference_phrases" not in upstream
