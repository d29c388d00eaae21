"""Dagster's page says what is stale: inputs are looked at before anything is made of them."""

from __future__ import annotations

import shutil
import warnings

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of Dagster's own imports
    import dagster as dg
    from dagster._core.definitions.data_version import CachingStaleStatusResolver
    from dagster._core.loader import LoadingContextForTest

from pipelines.orchestration.definitions import build_definitions
from pipelines.orchestration.sources import SOURCES, observe
from tests.graph.conftest import CASES, Workbench
from tests.without_pages import leave_out_pages

pytestmark = pytest.mark.filterwarnings("ignore")
READ = ("export_files", "reference_models")


@pytest.fixture
def bench(quick, tmp_path, monkeypatch):
    """The worked claims, not refreshed; a run of them writes no pages."""
    leave_out_pages(monkeypatch)
    with dg.DagsterInstance.ephemeral() as instance:
        yield Workbench(shutil.copytree(CASES, tmp_path / "workspace"), instance)


def causes(bench, name: str) -> list[str]:
    """Why Dagster calls an asset stale; nothing where it does not."""
    graph = build_definitions(bench.root).resolve_asset_graph()
    resolver = CachingStaleStatusResolver(
        bench.instance, graph, LoadingContextForTest(bench.instance)
    )
    told = resolver.get_stale_causes(dg.AssetKey(name))
    return [f"{one.dependency.asset_key.to_user_string()}: {one.reason}" for one in told]


def test_what_a_changed_input_makes_stale_is_told(bench) -> None:
    """Nothing after a run; after a change of one input what rests on it, and nothing else."""
    terms = next((bench.root / "terms").glob("*.toml"))
    assert bench.run().ended == "done"
    assert [causes(bench, name) for name in READ] == [[], []]
    observe(bench.instance, str(bench.root))
    assert [causes(bench, name) for name in READ] == [[], []]
    terms.write_text(terms.read_text() + "# another\n")
    observe(bench.instance, str(bench.root))
    assert causes(bench, "export_files") == []
    assert causes(bench, "reference_models") == ["terms: has a new dependency data version"]


def test_what_is_as_it_was_is_observed_once(bench) -> None:
    """Each source is told once, and again only where it changed."""
    for _ in range(2):
        observe(bench.instance, str(bench.root))
    terms = next((bench.root / "terms").glob("*.toml"))
    terms.write_text(terms.read_text() + "# a word\n")
    observe(bench.instance, str(bench.root))
    seen = {
        name: len(bench.instance.fetch_observations(dg.AssetKey(name), limit=9).records)
        for name in SOURCES
    }
    assert seen == {name: 2 if name == "terms" else 1 for name in SOURCES}


def test_inputs_that_cannot_be_read_are_left_to_the_run(bench) -> None:
    """Broken settings stop no look, and nothing is told of them."""
    (bench.root / "limeledger.toml").write_text("[")
    observe(bench.instance, str(bench.root))
    assert not bench.instance.fetch_observations(dg.AssetKey("settings"), limit=1).records
