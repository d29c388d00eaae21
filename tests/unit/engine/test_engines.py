"""The engines: what one needs that is not there, and what a run without a cluster imports."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.engine import engines
from pipelines.errors import WorkspaceError
from pipelines.workspace.engine_settings import EngineSettings
from pipelines.workspace.settings import Settings
from tests.end_to_end.conftest import run

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"
SETTINGS = Settings("Tarnfell", "America/Denver", "USD")
TELL = (
    "import sys; {}; "
    "print(sorted({{'ray', 'obstore', 'grpc'}} & {{name.split('.')[0] for name in sys.modules}}))"
)


@pytest.fixture
def lacking(monkeypatch: pytest.MonkeyPatch):
    """Packages that this machine then lacks."""

    def without(*names: str) -> None:
        found = importlib.util.find_spec
        monkeypatch.setattr(engines, "find_spec", lambda one: None if one in names else found(one))

    return without


def on_ray(settings: Settings) -> Settings:
    """The settings with a cluster."""
    return replace(settings, engine=EngineSettings(kind="ray"))


@pytest.mark.parametrize("names", [("ray",), ("obstore",), ("ray", "obstore")])
def test_a_cluster_without_its_extra_is_refused(lacking, names: tuple[str, ...]):
    """The sentence names what is lacking and the command that brings it; local asks for nothing."""
    lacking(*names)
    engines.refuse_without_extra(SETTINGS)
    with pytest.raises(WorkspaceError) as caught:
        engines.refuse_without_extra(on_ray(SETTINGS))
    assert caught.value.exit_code == 2
    told = str(caught.value)
    assert f'engine.kind is "ray", but {" and ".join(names)} cannot be found' in told
    assert "`pip install limeledger[cluster]` brings Ray and the object-store client" in told


def test_a_refresh_that_is_refused_writes_nothing(lacking, tmp_path: Path):
    """Exit code 2, the sentence on stderr, and no store."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    with (folder / "limeledger.toml").open("a", encoding="utf-8") as file:
        file.write('\n[engine]\nkind = "ray"\n')
    lacking("ray")
    told = run("refresh", folder)
    assert (told.code, told.out) == (2, "")
    assert "`pip install limeledger[cluster]`" in told.err
    assert not (folder / "store" / "limeledger.duckdb").exists()
    assert not (folder / "published" / "data").exists()


@pytest.mark.parametrize(
    "what",
    [
        "import pipelines.store.transaction, pipelines.steps.all_steps",
        "import pipelines.cli.refresh",
    ],
)
def test_without_a_cluster_nothing_of_it_is_imported(what: str):
    """What a local refresh imports leaves Ray and the object store alone."""
    told = subprocess.run(
        [sys.executable, "-c", TELL.format(what)], capture_output=True, text=True, check=True
    )
    assert told.stdout.strip() == "[]"
