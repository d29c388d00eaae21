"""Parts on two nodes and an S3 server make the tables of one process, whatever is lost."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.engine.engines import LocalEngine
from pipelines.engine.ray_engine import RayEngine
from pipelines.errors import EngineError
from pipelines.store.database import read_frame
from pipelines.store.evidence import fleet, ground_of, part_records
from pipelines.store.states import read_states
from pipelines.store.transaction import RefreshSession, open_session
from pipelines.workspace.engine_settings import EngineSettings, StorageSettings
from schemas.codes import FEEDS
from tests.benchmarks.make_workspace import AS_OF, make_workspace
from tests.cluster.machines import Machines, Server, cluster, free_ports, s3_server
from tests.end_to_end.conftest import CASES, DAY, differing, hashes, run, store
from tests.nights import KNOWN, make

STEPS = (
    "reference_tables", "landed_exports", "record_tables", "claim_decisions", "unit_tables",
    "water_table", "startup_tables",
)  # fmt: skip
TABLES = (
    *FEEDS, "row_accounts", "set_aside", "feed_states",
    "findings", "decisions", "decision_history", "unit_histories", "unit_matters",
    "cartridge_spans", "unit_samples", "unit_orders", "exposure_units", "exposure_failures",
    "treatment_states", "doubtful_exposure", "agency_repairs", "waters_in_force", "watch_spans",
    "water_profiles", "installation_findings", "startup_reviews", "treatment_recommendations",
    "journeys", "journey_rates", "upcoming",
)  # fmt: skip
PARTS, MANY = 3, 6


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One S3 server for all tests; who stops it starts it again."""
    with s3_server(tmp_path_factory.mktemp("s3")) as found:
        yield found


@pytest.fixture(scope="module")
def machines(server) -> Iterator[Machines]:
    """Two nodes, with the keys of the server, for all tests that lose none."""
    with cluster() as found:
        yield found


@pytest.fixture(scope="module", params=["worked claims", 11])
def world(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    """A workspace that nobody has refreshed, with its day: the worked claims, a random fleet."""
    folder = tmp_path_factory.mktemp("world") / "workspace"
    if request.param == "worked claims":
        return shutil.copytree(CASES / "workspace", folder), DAY
    make_workspace(folder, 300, request.param)
    return folder, AS_OF.isoformat()


def place(folder: Path, address: str, url: str = "", endpoint: str = "") -> Path:
    """Puts a cluster and a storage into the settings of a workspace."""
    with (folder / "limeledger.toml").open("a", encoding="utf-8") as file:
        file.write(
            f'\n[engine]\nkind = "ray"\naddress = "{address}"\nparts = {PARTS}\n'
            f'\n[storage]\nurl = "{url}"\nendpoint = "{endpoint}"\n'
        )
    return folder


@dataclass(frozen=True)
class Made:
    """What the steps have made: tables, of which state each is, and what was told."""

    tables: dict[str, pl.DataFrame]
    states: dict[str, str]
    told: list[str]


def made(folder: Path, day: str) -> Made:
    """Every table that parts make, without the moment of the run."""
    told: list[str] = []
    with open_session(folder, day, told.append, known=KNOWN) as session:
        make(session, *STEPS)
        tables = {name: read_frame(session.con, name) for name in TABLES}
        states = {name: row["state"] for name, row in read_states(session.con).items()}
    tables["decision_history"] = tables["decision_history"].drop("decided_at")
    return Made(tables, states, told)


def same(one: Made, other: Made) -> None:
    """Fails unless every table has the same rows in the same order, and every state is the same."""
    assert one.states == other.states
    assert set(TABLES) <= set(one.states)
    for name in TABLES:
        assert_frame_equal(one.tables[name], other.tables[name], rel_tol=1e-9, abs_tol=1e-9)
    filled = [name for name in TABLES if one.tables[name].height]
    assert {"findings", "unit_histories", "water_profiles", "startup_reviews"} <= set(filled)


def test_a_cluster_makes_the_tables_of_one_process(world, machines, server, tmp_path: Path):
    """Row by row, state by state; what is there is not done again, with no cluster to do it."""
    folder, day = world
    here = made(shutil.copytree(folder, tmp_path / "here"), day)
    url = f"s3://parts/{tmp_path.name}"
    there = place(
        shutil.copytree(folder, tmp_path / "there"), machines.address, url, server.endpoint
    )
    same(made(there, day), here)
    nowhere = f"127.0.0.1:{free_ports(1)[0]}"
    again = place(shutil.copytree(folder, tmp_path / "again"), nowhere, url, server.endpoint)
    told = made(again, day)
    same(told, here)
    kept = [line for line in told.told if "parts were worked on before" in line]
    assert len(kept) == len(FEEDS) + 4


@dataclass(frozen=True)
class Units:
    """The parts of units of a fleet: who works on them, what is asked, what one process makes."""

    engine: RayEngine
    work: Callable[[], Iterator[dict[str, pl.DataFrame]]]
    wanted: list[dict[str, pl.DataFrame]]


@contextmanager
def units_of(folder: Path, url: str, address: str) -> Iterator[Units]:
    """The parts of the worked claims' units, for a cluster."""
    with open_session(folder, DAY, known=KNOWN) as session:
        make(session, *STEPS[:3])
        parts = list(part_records(session.con, fleet(session.con, MANY)))
        ground = ground_of(session.inputs, session.con)
        engine = engine_at(session, address, url)
        try:
            wanted = list(LocalEngine().run("units", ground, parts))
            yield Units(engine, lambda: engine.run("units", ground, parts), wanted)
        finally:
            engine.close()


def engine_at(session: RefreshSession, address: str, url: str) -> RayEngine:
    """A cluster's engine for a session whose settings know none."""
    settings = replace(
        session.inputs.settings,
        engine=EngineSettings("ray", address, PARTS),
        storage=StorageSettings(url),
    )
    return RayEngine(session.inputs.workspace, settings, session.state.tool, session.progress)


@pytest.fixture
def claims(tmp_path: Path) -> Path:
    """The worked claims, not refreshed."""
    return shutil.copytree(CASES / "workspace", tmp_path / "claims")


def equal(found: list[dict[str, pl.DataFrame]], wanted: list[dict[str, pl.DataFrame]]) -> None:
    """Fails unless all parts have the same tables."""
    assert len(found) == len(wanted) == MANY
    for one, other in zip(found, wanted, strict=True):
        assert one.keys() == other.keys()
        for name in one:
            assert_frame_equal(one[name], other[name])


def test_a_lost_node_loses_no_part(claims: Path, tmp_path: Path):
    """The second machine fails while it works on parts; the first one does them."""
    with (
        cluster() as machines,
        units_of(claims, str(tmp_path / "parts"), machines.address) as units,
    ):
        parts = units.work()
        found = [next(parts)]
        machines.tell("kill")
        equal([*found, *parts], units.wanted)


def test_a_lost_cluster_is_told_and_gone_on_from(claims: Path, tmp_path: Path):
    """Exit code 70 with the cluster's name; one of our own then does only what is lacking.

    So does the next where the process that speaks to that one is killed.
    """
    url, results = str(tmp_path / "parts"), tmp_path / "parts" / "results"
    with cluster() as machines, units_of(claims, url, machines.address) as units:
        parts = units.work()
        next(parts)
        machines.tell("lose")
        with pytest.raises(EngineError) as caught:
            list(parts)
    assert caught.value.exit_code == 70
    told = f"The cluster {machines.address} was lost while parts were worked on"
    assert told in str(caught.value)
    moments = {path: path.stat().st_mtime_ns for path in results.iterdir()}
    assert 0 < len(moments) < MANY
    with units_of(claims, url, "") as units:
        equal(list(units.work()), units.wanted)
        assert units.engine._cluster is not None
        os.killpg(units.engine._cluster._process.pid, signal.SIGKILL)
        next(results.iterdir()).unlink()
        with pytest.raises(EngineError, match="The cluster of this machine was lost"):
            list(units.work())
    assert len(list(results.iterdir())) == MANY - 1
    kept = [path for path in moments if path.exists()]
    assert len(kept) >= len(moments) - 1
    assert [path.stat().st_mtime_ns for path in kept] == [moments[path] for path in kept]


def test_from_one_night_to_the_next_the_engine_may_change(tmp_path: Path, server, monkeypatch):
    """A storage lost half-way leaves store and pages; then the night is that of one process."""
    folder = shutil.copytree(CASES / "workspace", tmp_path / "workspace")
    assert run("refresh", folder, "--as-of", "2025-12-30").code in (0, 1)
    local = shutil.copytree(folder, tmp_path / "local")
    place(folder, "", "s3://parts/nights", server.endpoint)
    assert "Nothing is new" in run("refresh", folder, "--as-of", "2025-12-30").err
    before = hashes(folder / "published", folder / "store" / "archive")
    database = (folder / "store" / "limeledger.duckdb").read_bytes()
    take = RayEngine._made

    def taken(engine: RayEngine, *arguments):
        tables = take(engine, *arguments)
        server.stop()
        return tables

    with monkeypatch.context() as patch:
        patch.setattr(RayEngine, "_made", taken)
        lost = run("refresh", folder, "--as-of", DAY)
    assert (lost.code, lost.out) == (70, "")
    assert f"The storage of parts s3://parts/nights at {server.endpoint} cannot be" in lost.err
    assert (folder / "store" / "limeledger.duckdb").read_bytes() == database
    now = hashes(folder / "published", folder / "store" / "archive")
    assert {name for name in before if now[name] != before[name]} == {
        str(folder / "published" / "assets" / "status.js")
    }
    server.start()
    done = run("refresh", folder, "--as-of", DAY)
    assert done.code in (0, 1), done.err
    assert "parts were worked on before" in done.err
    assert run("refresh", local, "--as-of", DAY).code == done.code
    assert differing(store(folder), store(local)) == []
