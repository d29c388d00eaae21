"""The engines: what one needs that is not there, and what a run without a cluster imports."""

from __future__ import annotations

import importlib.util
import re
import shutil
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pipelines.engine import engines
from pipelines.engine.ground import Ground, Values
from pipelines.engine.ray_engine import RayEngine
from pipelines.engine.task import Task, work_on
from pipelines.errors import EngineError, WorkspaceError
from pipelines.workspace.engine_settings import EngineSettings
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings
from pipelines.workspace.tool import source_hash
from tests.end_to_end.conftest import run

ROOT = Path(__file__).parents[3]
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


@pytest.mark.parametrize("is_current", [False, True])
def test_a_refresh_that_is_refused_writes_nothing(lacking, tmp_path, monkeypatch, is_current):
    """Exit code 2, the sentence on stderr, and no store; the doctor says it before.

    Also where the engine was changed overnight and nothing else is new.
    """
    if is_current:
        monkeypatch.setattr("pipelines.store.up_to_date.is_up_to_date", lambda inputs: True)
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    with (folder / "limeledger.toml").open("a", encoding="utf-8") as file:
        file.write('\n[engine]\nkind = "ray"\n')
    lacking("ray")
    told = run("refresh", folder)
    assert (told.code, told.out) == (2, "")
    assert "`pip install limeledger[cluster]`" in told.err
    assert not (folder / "store" / "limeledger.duckdb").exists()
    assert not (folder / "published" / "data").exists()
    found = run("doctor", folder, "--json")
    assert found.code == 2
    assert any("limeledger[cluster]" in one["sentence"] for one in found.json["findings"])


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


def test_only_one_module_imports_ray():
    """What speaks to a cluster is the engine room's, and one module of it."""
    found = [
        str(path.relative_to(ROOT / "pipelines"))
        for path in (ROOT / "pipelines").rglob("*.py")
        if re.search(r"^\s*(?:import|from) ray\b", path.read_text(encoding="utf-8"), re.M)
    ]
    assert found == ["engine/ray_process.py"]


def test_an_address_where_nobody_answers_is_told_at_once(tmp_path: Path):
    """Exit code 70 and the address, before Ray itself would try for minutes."""
    pytest.importorskip("obstore", reason="the extra `cluster` is not installed")
    workspace = Workspace.open(shutil.copytree(CASES, tmp_path / "workspace"))
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))  # bound, and not listening
        address = f"ray://127.0.0.1:{held.getsockname()[1]}"
        settings = replace(SETTINGS, engine=EngineSettings("ray", address))
        engine = RayEngine(workspace, settings, source_hash(), lambda text: None)
        terms = {name: pl.DataFrame() for name in ("values", "water_limits", "installation_limits")}
        frames = {f"terms_{name}": frame for name, frame in terms.items()}
        ground = Ground(frames, Values("2026-01-01", {}, "UTC", 10.0, (60.0,), 0.65, None, None))
        with pytest.raises(EngineError) as caught:
            list(engine.run("waters", ground, [{"units": pl.DataFrame({"serial": ["S1"]})}]))
    assert caught.value.exit_code == 70
    assert f"The cluster {address} cannot be reached" in str(caught.value)
    assert (workspace.store / "parts" / "frames").is_dir()


def test_a_worker_with_another_tool_refuses(tmp_path: Path):
    """What other code makes is never put under the name of ours."""
    task = Task("waters", "another", {}, {}, {}, str(tmp_path / "parts"), "")
    with pytest.raises(EngineError, match="has another version of limeledger than the machine"):
        work_on(task)
    assert not (tmp_path / "parts").exists()


def test_a_task_is_named_by_all_that_decides_it():
    """Not by where it lies; any other difference makes another name."""
    task = Task("waters", "t", {"lots": "a"}, {"as_of": "2026-01-01"}, {"units": "b"}, "/tmp/x", "")
    assert replace(task, url="/tmp/y", endpoint="http://127.0.0.1:1").result == task.result
    others = [
        replace(task, work="units"),
        replace(task, tool="u"),
        replace(task, ground={"lots": "c"}),
        replace(task, values={"as_of": "2026-01-02"}),
        replace(task, frames={"units": "d"}),
    ]
    assert len({task.result, *(one.result for one in others)}) == 6
