"""A run of any selection ends done, already current or refused, and says which."""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg

from pipelines.steps.all_steps import STEPS, STORE_TABLES
from tests.graph.conftest import Workbench

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
STATUS = "published/assets/status.js"
DAY, NEXT_DAY = "2025-12-31", "2026-01-01"
TABLES = [name for step in STEPS for name in step.tables]


def change_terms(root: Path) -> None:
    """Other terms: the state is another, and some claims come out otherwise."""
    path = root / "terms" / "W1.toml"
    text = path.read_text(encoding="utf-8")
    assert "request_within_days" in text
    path.write_text(text.replace("request_within_days = ", "request_within_days = 1"), "utf-8")


def test_all_that_is_there_is_already_current(bench) -> None:
    """Nothing is written; each materialization says so, and so does the log."""
    before = bench.files()
    run = bench.run()
    assert run.ended == "already current"
    assert sorted(run.metadata()) == sorted(TABLES)
    assert any("Nothing is new" in told for told in run.told)
    assert bench.files() == before


def test_nothing_is_current_of_a_store_that_somebody_changed(bench) -> None:
    """A table that is gone is made, with all others: which of them were touched nobody knows."""
    with duckdb.connect(str(bench.root / "store" / "limeledger.duckdb")) as con:
        con.execute("drop table warnings")
    before = bench.files()
    run = bench.run(["published_data"])
    assert run.ended == "refused"
    assert bench.files() == before
    assert bench.run().ended == "done"
    assert "warnings" in bench.tables()
    assert bench.manifest()["publication"] == 2


@pytest.mark.parametrize("lost", ["data/decisions.csv", "upcoming.html", "assets/charts.js"])
def test_a_published_file_that_is_gone_is_published_again(bench, lost: str) -> None:
    """Pages without one of their files are not what was published; no table is made for it."""
    path = bench.root / "published" / lost
    content = path.read_bytes()
    path.unlink()
    run = bench.run(["decisions", "published_pages"])
    assert run.ended == "done"
    assert run.metadata()["decisions"]["already_current"].value is True
    if lost.startswith("data/"):
        assert path.read_bytes() == content
    assert path.is_file()
    assert bench.run().ended == "already current"


@pytest.fixture(scope="module")
def undone(refreshed, tmp_path_factory) -> Iterator[Workbench]:
    """A copy for runs that are refused: each of them leaves it as it was, or its test fails."""
    with dg.DagsterInstance.ephemeral() as instance:
        yield refreshed.copy(tmp_path_factory.mktemp("undone") / "workspace", instance)


@pytest.fixture
def bench_for(request, undone) -> Callable[[bool], Workbench]:
    """The copy for refused runs, or one of the test's own."""
    return lambda is_refused: undone if is_refused else request.getfixturevalue("bench")


@pytest.mark.parametrize("name", TABLES)
def test_each_table_alone_is_current_or_refused(bench_for, name: str) -> None:
    """On the day that is published it is there; for another it is made, or told what it lacks."""
    step = next(step for step in STEPS if name in step.tables)
    bench = bench_for(bool(step.read_for([name])))
    before = bench.files()
    assert bench.manifest()["as_of"] == DAY
    assert bench.run([name]).ended == "already current"
    run = bench.run([name], NEXT_DAY)
    if step.read_for([name]):
        assert run.ended == "refused"
        assert run.sentence is not None
        assert "is as of 2025-12-31, and this run as of 2026-01-01" in run.sentence
        assert "give the as-of day 2025-12-31" in run.sentence
        assert "limeledger refresh" in run.sentence
        assert bench.files() == before
    else:
        assert run.ended == "done"
        assert bench.published() == {name: before[name] for name in bench.published()}


def test_publication_alone_is_refused_after_the_terms_changed(bench) -> None:
    """Old verdicts are never published under new terms."""
    change_terms(bench.root)
    before = bench.files()
    for selection in (["published_data"], ["published_pages"], ["published_data", "rates"]):
        run = bench.run(selection)
        assert run.ended == "refused"
        assert run.sentence is not None
        assert "was made before the terms changed" in run.sentence
    assert bench.files() == before
    assert bench.run().ended == "done"
    assert bench.manifest()["publication"] == 2


def test_one_of_the_two_publishes_both(bench) -> None:
    """Whichever of the last two assets is selected, store and pages change together."""
    everything_else = [name for step in STEPS if not step.publishes for name in step.tables]
    for number, (last, day) in enumerate(
        (("published_data", NEXT_DAY), ("published_pages", DAY)), 2
    ):
        assert bench.run(everything_else, day).ended == "done"
        assert bench.manifest()["publication"] == number - 1
        run = bench.run([last], day)
        assert run.ended == "done", run.sentence
        assert bench.manifest()["publication"] == number
        assert bench.manifest()["as_of"] == day
        states = bench.tables()["table_states"]
        assert states["state"].unique().to_list() == [bench.manifest()["state"]]
        assert sorted(states["table"]) == sorted(STORE_TABLES)
        assert sorted(bench.tables()) == sorted(STORE_TABLES)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_everything_but_one_step(bench_for, step) -> None:
    """What reads the tables that were left out is refused before anything is written."""
    bench = bench_for(not step.publishes)
    left = [name for name in TABLES if name not in step.tables]
    before = bench.files()
    run = bench.run(left, NEXT_DAY)
    if step.publishes:
        assert run.ended == "done"
        assert bench.published() == {name: before[name] for name in bench.published()}
    else:
        assert run.ended == "refused"
        assert bench.files() == before


def test_a_group_alone(bench) -> None:
    """The figures of another day want the tables that they are made from."""
    figures = [name for step in STEPS if step.group == "field" for name in step.tables]
    assert len(figures) > 10
    assert bench.run(figures).ended == "already current"
    assert bench.run(figures, NEXT_DAY).ended == "refused"
    upstream = [name for step in STEPS if not step.publishes for name in step.tables]
    assert bench.run(upstream, NEXT_DAY).ended == "done"
    assert bench.run(figures, NEXT_DAY).ended == "already current"


@pytest.mark.parametrize(
    ("config", "told"),
    [
        ({"as_of": "2025-02-30"}, 'resources.session.config.as_of "2025-02-30" is no date'),
        ({"day": "2025-12-31"}, "has no key"),
    ],
)
def test_a_configuration_that_is_wrong_is_told(bench, config: dict, told: str) -> None:
    """A day that is none, a key that is unknown: a sentence, and nothing but the note."""
    before = bench.files()
    run = bench.run(config=config)
    assert not run.result.success
    assert run.sentence is not None
    assert told in run.sentence
    after = bench.files()
    assert {name for name in after if after[name] != before.get(name)} == {STATUS}
    assert json.dumps(told)[1:-1] in after[STATUS].decode()
    assert set(before) == set(after)
