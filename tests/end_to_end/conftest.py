"""Workspaces that are refreshed once and copied, and calls of the real command line."""

import hashlib
import io
import json
import multiprocessing
import os
import re
import shutil
import socket
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import asdict, dataclass
from pathlib import Path

import duckdb
import polars as pl
import pytest

from dashboards.claim_files import MADE_FROM
from pipelines.cli.main import main
from schemas.archive import ARCHIVE_TABLES
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES
from tests.bench import Bench
from tests.shared import made_once
from tests.without_pages import leave_out_pages

CASES = next(p for p in Path(__file__).parents if p.name == "tests") / "cases" / "worked_claims"
DAY = (CASES / "expected" / "as_of.txt").read_text().strip()
RUN = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?")
# When a refresh ran, and which: what may differ between two of the same inputs.
MOMENTS = ("decided_at", "made_at", "published_at", "run", "publication")

# A refresh as code for a process of its own, where a test's patches do not reach.
REFRESH = """
import os, signal
import pipelines.steps.figures
import pipelines.store.swap as session
from pipelines.cli.main import main
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES

def empty_figures(*_):
    for name, table in FIELD_TABLES.items():
        yield name, polars_schema(table).to_frame()

pipelines.steps.figures.figure_tables = empty_figures
{hook}
raise SystemExit(main(["refresh", {folder!r}, "--as-of", {day!r}]))
"""


@dataclass(frozen=True)
class Call:
    """What one command did: exit code, stdout, stderr."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        """stdout, which must be one JSON value and nothing else."""
        return json.loads(self.out)


def run(*arguments: object) -> Call:
    """Runs the command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stop:  # argparse ends so
            code = int(stop.code or 0)
    return Call(code, out.getvalue(), err.getvalue())


def hashes(*folders: Path) -> dict[str, str]:
    """The SHA-256 of every file below some folders, but for the lock and the logs."""
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix not in (".lock", ".log") and path.name != "runs.jsonl"
    }


def store(workspace: Path) -> dict[str, pl.DataFrame]:
    """Every table of the store, rows in one order, without the moments of the refresh.

    Nor the archive, which tells how the store came to be (`test_archive` looks at it), or up to
    which event a run knew the desk.
    """
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"), read_only=True)
    try:
        names = con.execute(
            "select table_schema, table_name from information_schema.tables "
            "where table_schema <> 'archive' order by all"
        ).fetchall()
        found = {
            f"{s}.{t}": con.sql(f'select * from "{s}"."{t}"').pl()
            for s, t in names
            if t not in (*ARCHIVE_TABLES, "register_seen")
        }
    finally:
        con.close()
    return {name: in_one_order(frame.drop(MOMENTS, strict=False)) for name, frame in found.items()}


def in_one_order(frame: pl.DataFrame) -> pl.DataFrame:
    """The same rows, sorted by all that they hold."""
    if frame.is_empty():
        return frame
    texts = [_as_text(name, kind) for name, kind in frame.schema.items()]
    key = pl.concat_str([text.cast(pl.String).fill_null("\x00") for text in texts], separator="\t")
    return frame.sort(key)


def _as_text(name: str, kind: pl.DataType) -> pl.Expr:
    """A column as text, lists and structs too."""
    if isinstance(kind, pl.List) and isinstance(kind.inner, pl.Struct):
        return pl.col(name).list.eval(pl.element().struct.json_encode()).list.join("\x1f")
    return pl.col(name).list.join("\x1f") if isinstance(kind, pl.List) else pl.col(name)


def differing(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> list[str]:
    """Names of tables that are not the same in two stores."""
    names = sorted({*one, *other})
    return [n for n in names if n not in one or n not in other or not one[n].equals(other[n])]


def pages(workspace: Path) -> dict[str, str]:
    """Every published file but Parquet, without the moments at which a refresh ran.

    Nor with the hashes of claim pages, which show such moments; the pages are compared themselves.
    """
    folder = workspace / "published"
    texts = {
        str(path.relative_to(folder)): RUN.sub("", MOMENT.sub("", path.read_text()))
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".parquet"
    }
    made_from = f"assets/{MADE_FROM}"
    return texts | {made_from: str(sorted(json.loads(texts[made_from])))}


def published(workspace: Path, table: str) -> pl.DataFrame:
    """A published table as its CSV says, all as text."""
    return pl.read_csv(workspace / "published" / "data" / f"{table}.csv", infer_schema=False)


@pytest.fixture(autouse=True, scope="session")
def no_network():
    """Nothing that these tests run may open a connection to another machine."""
    connect = socket.socket.connect

    def is_of_this_machine(host):
        if host in ("127.0.0.1", "::1", "localhost"):
            return True
        try:  # a cluster's nodes on this machine go by its own address
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
                probe.bind((host, 0))
        except OSError:
            return False
        return True

    def refuse(self, address):
        if self.family != socket.AF_UNIX and not is_of_this_machine(address[0]):
            raise AssertionError(f"a connection to {address} was opened")
        return connect(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", refuse)
        yield


@pytest.fixture(scope="session")
def tools():
    """The functions of this module, for tests in other modules."""
    return {
        "run": run,
        "hashes": hashes,
        "store": store,
        "differing": differing,
        "pages": pages,
        "published": published,
        "empty_figures": empty_figures,
    }


@pytest.fixture(scope="session", name="run")
def run_fixture():
    """Runs the command line in this process."""
    return run


@pytest.fixture(scope="session")
def day():
    """The day as of which the worked claims are decided."""
    return DAY


@pytest.fixture(scope="session")
def expected():
    """Folder of the worked answers."""
    return CASES / "expected"


@pytest.fixture(scope="session")
def claims(tmp_path_factory) -> tuple[Path, Call]:
    """The worked claims, refreshed once: workspace and what the command said. Do not touch."""
    return refreshed_claims(tmp_path_factory)


def refreshed_claims(factory: pytest.TempPathFactory) -> tuple[Path, Call]:
    """The same, for tests of other rooms too."""

    def make(folder: Path) -> Call:
        shutil.copytree(CASES / "workspace", folder)
        return run("refresh", folder, "--as-of", DAY, "--json")

    return called_once(factory, "claims", make)


def called_once(
    factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Call]
) -> tuple[Path, Call]:
    """A workspace that one process of the tests has made, and what its command said."""

    def told(folder: Path) -> str:
        folder.parent.mkdir()
        return json.dumps(asdict(make(folder)))

    folder, text = made_once(factory, name, told)
    return folder, Call(**json.loads(text))


@pytest.fixture
def workspace(claims, tmp_path) -> Path:
    """A refreshed copy of the worked claims, to do with what a test likes."""
    return shutil.copytree(claims[0], tmp_path / "workspace")


@pytest.fixture
def unrefreshed(tmp_path) -> Path:
    """A copy of the worked claims that has no store and no pages yet."""
    return shutil.copytree(CASES / "workspace", tmp_path / "workspace")


@pytest.fixture(scope="session")
def sample(tmp_path_factory) -> tuple[Path, Call]:
    """The sample workspace as `demo` leaves it. Look, do not touch."""
    return called_once(tmp_path_factory, "sample", lambda folder: run("demo", folder, "--json"))


def empty_figures(*_):
    """Figures without a row, by the names and columns of the real ones."""
    for name, table in FIELD_TABLES.items():
        yield name, pl.DataFrame(schema=polars_schema(table))


@pytest.fixture
def no_figures(monkeypatch):
    """Leaves the estimates out, half the time of a small refresh, where no test looks at them."""
    monkeypatch.setattr("pipelines.steps.figures.figure_tables", empty_figures)


@pytest.fixture
def no_pages(monkeypatch):
    """Leaves the pages out, where no test looks at them or at the charts that they share."""
    leave_out_pages(monkeypatch)


@pytest.fixture(scope="session")
def script() -> Callable[..., str]:
    """The code of a refresh without figures, for `start`; `hook` is run before it."""

    def code(folder: Path, hook: str = "") -> str:
        return REFRESH.format(hook=hook, folder=str(folder), day=DAY)

    return code


@pytest.fixture(scope="session")
def start() -> Callable:
    """Starts code or a command in a process of its own that has the imports behind it."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        [
            "pipelines.cli.refresh",
            "pipelines.steps.in_order",
            "pipelines.orchestration.summary",
            "dashboards.site",
            "sample_data",
        ]
    )
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"

    def begin(target: Callable, *arguments: object):
        process = context.Process(target=target, args=arguments, daemon=True)
        process.start()
        return process

    return begin


@pytest.fixture
def bench(unrefreshed, run):
    """A Bench."""
    return Bench(unrefreshed, run)
