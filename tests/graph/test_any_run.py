"""Whatever changes and whatever is selected: a run ends truthfully, and the next whole one well.

Changes of the inputs, as-of days and selections are drawn from a seed. One case of twenty-five is
run by Dagster's job, the others as the command walks the steps. Five cases make the same changes,
with selections and days of their own, and must end with what one refresh from nothing gives; the
first of them also with what a refresh over the same store gives that finds nothing left by others.
`CASES` in the environment says how many cases are drawn (a few without it), `SEED` from where.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import random
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

import dagster as dg
import polars as pl
import pytest

from pipelines.errors import RefusedError
from pipelines.events import Event, open_desk
from pipelines.steps import cause_suggestions, in_order, publish
from pipelines.steps.all_steps import STEPS, STORE_TABLES
from pipelines.store import deliveries, inputs, reading, states, working_copy
from pipelines.store.database import connect, table_names
from pipelines.store.run_log import new_run_id
from pipelines.workspace.layout import Workspace
from pipelines.workspace.tool import ALL, source_hash
from tests.graph.conftest import CASES as WORKSPACE
from tests.graph.conftest import Workbench, in_one_order
from tests.shared import made_once
from tests.without_pages import leave_out_pages

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
CASES = int(os.environ.get("CASES", "2"))
SEED = int(os.environ.get("SEED", "20261130"))
DAYS = ("2025-12-30", "2025-12-31", "2026-01-01", "2026-02-15")
# Written as files too; that of the others is no other.
OF_FILES = ("decisions", "findings", "rulings", "units", "claim_overview", "data_dictionary")
OF_ONE_END = 5
# What rests on what was published before: compared where a refresh goes on from the same store.
OF_THE_PAST = (
    "archived_files",
    "archived_rows",
    "decision_archive",
    "decision_history",
    "letter_texts",
    "letters",
    "publications",
    "table_states",  # how many rows these have
)
# The same of columns; which day it is rests on the time zone too, which may have been another.
SINCE = (
    "documents_due_on",
    "standing_since",
    "ruling_outdated",
    "arrived_on",
    "first_arrived_on",
)
TABLES = [name for step in STEPS for name in step.tables]
GROUPS = sorted({step.group for step in STEPS})


TERMS = (
    "parts_months",
    "labor_months",
    "request_within_days",
    "file_within_days",
    "workmanship_days",
    "grace_days",
    "cartridge_grace_days",
)
SETTINGS = {
    "duty_hours_per_day": (2, 6, 14, 20),
    "stale_after_days": (10, 90, 400),
    "conductivity_to_tds": (0.5, 0.6, 0.7),
    "timezone": ('"UTC"', '"Asia/Tokyo"'),
}
TOOL = {"number": 0}  # another tool: its source has another hash, and its rules another outcome


def put(path: Path, key: str, value: object) -> None:
    """Gives a key of a TOML file another value, or adds it at the top."""
    text = path.read_text("utf-8")
    changed, times = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
    path.write_text(changed if times else f"{key} = {value}\n{text}", "utf-8")


def change_terms(root: Path, draw: random.Random) -> None:
    """An edition with another number of days or months."""
    path = root / "terms" / "W1.toml"
    key = draw.choice(TERMS)
    assert re.search(rf"(?m)^{key} = ", path.read_text("utf-8"))
    put(path, key, draw.randrange(1, 120))


def change_reference(root: Path, draw: random.Random) -> None:
    """An agency's rate and the end of its first period, or what a cause is granted."""
    name = draw.choice(("agencies.csv", "causes.csv"))
    path = root / "reference" / name
    header, first, *rows = path.read_text("utf-8").splitlines()
    cells = first.split(",")
    assert cells[0] in ("NORTHSTAIR", "SCALED")
    if name == "agencies.csv":
        cells[3] = draw.choice(("", "2024-06-30", "2024-12-31"))
        cells[4] = str(draw.randrange(50, 85))
    else:
        cells[6] = str(draw.choice((0.5, 1, 1.5)))
    path.write_text("\n".join([header, ",".join(cells), *rows, ""]), "utf-8")


def change_mapping(root: Path, draw: random.Random) -> None:
    """The export's words mean others: another agency, another cause."""
    path = root / "mappings" / "service_calls.toml"
    path.parent.mkdir(exist_ok=True)
    values = draw.choice(('agency]\nNORTHSTAIR = "EASTLOFT"', 'cause]\nBOARD = "DROPPED"'))
    path.write_text(f"# {draw.random()}\n[values.{values}\n", "utf-8")


def change_tool(root: Path, draw: random.Random) -> None:
    """Another tool, which decides otherwise."""
    del root
    TOOL["number"] = draw.randrange(1, 200)
    inputs._KNOWN.clear()  # another tool is another process, which has read nothing yet


def change_exports(root: Path, draw: random.Random) -> None:
    """A file comes, goes, or loses a row."""
    exports = sorted((root / "exports").rglob("*.csv"))
    path = draw.choice(exports)
    header, *rows = path.read_text("utf-8").splitlines(keepends=True)
    if draw.random() < 0.3 and len(exports) > 4:
        path.unlink()
    elif draw.random() < 0.5:
        shutil.copy(path, path.with_name(f"{path.stem}_{draw.randrange(10**6)}.csv"))
    elif rows and not any('"' in row for row in rows):
        rows.pop(draw.randrange(len(rows)))
        path.write_text("".join([header, *rows]), "utf-8")


def change_settings(root: Path, draw: random.Random) -> None:
    """Other hours of duty, another day on which a feed is stale, another time zone."""
    key = draw.choice(tuple(SETTINGS))
    put(root / "limeledger.toml", key, draw.choice(SETTINGS[key]))


def change_rulings(root: Path, draw: random.Random) -> None:
    """A person rules on a claim."""
    told = {"ruling": "covered", "ruled_by": "clerk", "reason": "seen"}
    told["ruled_at"] = f"2025-12-{draw.randrange(1, 29):02d}T08:00:00"
    claim = f"W{draw.randrange(1, 37):02d}"
    desk = open_desk(Workspace.open(root))
    with desk.writing() as connection:
        event = Event("ruling", dt.date(2025, 12, 30), "clerk", "command", claim, payload=told)
        desk.append(connection, event)
    desk.close()


def change_nothing(root: Path, draw: random.Random) -> None:
    """The inputs stay as they are."""
    del root, draw


CHANGES = (
    change_terms,
    change_reference,
    change_exports,
    change_exports,
    change_settings,
    change_mapping,
    change_tool,
    change_rulings,
    change_nothing,
    change_nothing,
)


def selection(draw: random.Random) -> list[str] | None:
    """All, one table, a group, everything before publication, all but some, or the last."""
    kind = draw.randrange(6)
    if kind == 0:
        return None
    if kind == 1:
        return [draw.choice(TABLES)]
    if kind == 2:
        group = draw.choice(GROUPS)
        return [name for step in STEPS if step.group == group for name in step.tables]
    if kind == 3:
        return [name for step in STEPS if not step.publishes for name in step.tables]
    if kind == 4:
        return draw.sample(TABLES, draw.randrange(2, len(TABLES)))
    steps = STEPS[: draw.randrange(1, len(STEPS) + 1)]
    return [name for step in steps for name in step.tables]


@pytest.fixture(scope="module", autouse=True)
def small(quick: None):
    """What is looked at here are the rows of the store: they have few files, pages and words."""

    def no_study(*_: object) -> SimpleNamespace:
        from schemas.causes import CAUSE_TABLES
        from schemas.columns import polars_schema

        frames = [polars_schema(table).to_frame() for table in CAUSE_TABLES.values()]
        names = ("suggestions", "quality", "reliability", "confusion")
        return SimpleNamespace(**dict(zip(names, frames, strict=True)))

    with pytest.MonkeyPatch.context() as patch:
        leave_out_pages(patch)
        patch.setattr(cause_suggestions, "study_causes", no_study)
        patch.setattr(publish, "PUBLISHED", OF_FILES)
        yield


@pytest.fixture(scope="module")
def refreshed(small: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    """The worked claims, refreshed once for all processes, with as few files. Do not touch."""

    def make(folder: Path) -> str:
        shutil.copytree(WORKSPACE, folder)
        with dg.DagsterInstance.ephemeral() as instance:
            new = Workbench(folder, instance, in_full=False)
            assert run_in_order(new) == ("done", None)
        return ""

    folder, _ = made_once(tmp_path_factory, "refreshed_small", make)
    with dg.DagsterInstance.ephemeral() as instance:
        yield Workbench(folder, instance, in_full=False)


@pytest.fixture(autouse=True)
def tool(monkeypatch: pytest.MonkeyPatch):
    """The source's hash and the reading of the terms, as the number of `TOOL` says."""
    load_terms = inputs.load_terms

    def hashed(parts: tuple[str, ...] = ALL) -> str:
        told = source_hash(parts)
        number = TOOL["number"]
        return hashlib.sha256(f"{told}{number}".encode()).hexdigest() if number else told

    def read(*given: object):
        terms = load_terms(*given)
        later = (pl.col("file_within_days") + TOOL["number"]).cast(pl.Int64)
        return replace(terms, values=terms.values.with_columns(file_within_days=later))

    for module in (deliveries, publish, reading, states, working_copy):
        monkeypatch.setattr(module, "source_hash", hashed)
    monkeypatch.setattr(inputs, "load_terms", read)
    monkeypatch.setitem(TOOL, "number", 0)
    inputs._KNOWN.clear()


def is_one_state(bench) -> bool:
    """Whether store and pages are of one state, each table of it there."""
    con = connect(bench.root / "store" / "limeledger.duckdb", read_only=True)
    try:
        found = con.sql('select state, "table" from table_states').pl()
        names = table_names(con)
    finally:
        con.close()
    return (
        set(found["state"]) == {bench.manifest()["state"]}
        and sorted(found["table"]) == sorted(STORE_TABLES)
        and set(names) == set(STORE_TABLES)
    )


def run_in_order(
    bench, chosen: list[str] | None = None, day: str = DAYS[1]
) -> tuple[str, str | None]:
    """How a run without Dagster ends, and the sentence where it is refused."""
    try:
        planned = in_order.refresh(
            inputs.load_inputs(bench.root, day),
            bench.told.append,
            new_run_id(),
            chosen or in_order.ALL_TABLES,
        )
    except RefusedError as refused:
        return "refused", str(refused)
    return "already current" if planned.is_current else "done", None


def run_by_dagster(
    bench, chosen: list[str] | None = None, day: str = DAYS[1]
) -> tuple[str, str | None]:
    """The same by Dagster's job."""
    run = bench.run(chosen, day)
    return run.ended, run.sentence


def differing(one: dict, other: dict) -> list[str]:
    """Names of tables that are not the same in two stores."""
    names = sorted({*one, *other})
    assert names
    return [n for n in names if n not in one or n not in other or not one[n].equals(other[n])]


@pytest.mark.parametrize(
    "change", [change_terms, change_reference, change_settings, change_mapping, change_tool]
)
def test_each_change_moves_what_is_decided(bench, change) -> None:
    """Else a run that did not notice it would pass below."""
    bench.in_full = False
    moved = "feed_states" if change is change_settings else "decisions"
    before = bench.tables()[moved]
    change(bench.root, random.Random(1))
    assert run_in_order(bench) == ("done", None)
    assert not bench.tables()[moved].equals(before)


@pytest.mark.parametrize("run", [run_in_order, run_by_dagster])
def test_a_part_that_is_current_leaves_what_another_finished(bench, run) -> None:
    """Nothing is written, and nothing of another day's work is taken away."""
    bench.in_full = False
    references = list(STEPS[0].tables)
    assert run(bench, [name for step in STEPS[:4] for name in step.tables], DAYS[0])[0] == "done"
    before = bench.files()
    assert "store/limeledger.duckdb.new" in before
    assert run(bench, references, DAYS[1]) == ("already current", None)
    assert bench.files() == before


def cases() -> list:
    """The numbers of the cases; those with one end are run by one process."""
    return [
        pytest.param(case, marks=pytest.mark.xdist_group(f"end {case // OF_ONE_END}"))
        for case in range(CASES)
    ]


@dataclass(frozen=True)
class End:
    """Where some cases come to by different ways: the changes made, and the day of the last run."""

    name: str
    changes: tuple[Callable[[Path, random.Random], None], ...]
    day: str

    @classmethod
    def drawn(cls, number: int) -> End:
        """One to three changes and a day."""
        name = f"{SEED} {number}"
        draw = random.Random(name)
        changes = draw.choices(CHANGES, k=draw.choice((1, 1, 2, 2, 3)))
        return cls(name, tuple(changes), draw.choice(DAYS))

    def change(self, root: Path, number: int) -> None:
        """Makes one of the changes, which is the same by whatever way a case comes there."""
        self.changes[number](root, random.Random(f"{self.name} {number}"))

    @property
    def is_the_same(self) -> bool:
        """Whether what was recorded has the same numbers by whatever way."""
        return change_rulings not in self.changes


@pytest.mark.parametrize("case", cases())
def test_any_run_is_truthful(bench, tmp_path: Path, case: int) -> None:
    """Done, already current or refused; then a whole refresh gives what a clean one gives."""
    end, draw = End.drawn(case // OF_ONE_END), random.Random(f"{SEED} case {case}")
    print(f"case {case} of SEED={SEED}")
    bench.in_full = False
    run = run_in_order if case % 25 else run_by_dagster
    assert is_one_state(bench)
    store = bench.root / "store" / "limeledger.duckdb"
    base, before = store.read_bytes(), bench.files()
    for number in range(len(end.changes)):
        end.change(bench.root, number)
        chosen, day = selection(draw), draw.choice(DAYS)
        print(f"{end.changes[number].__name__}, {chosen or 'all'} as of {day}")
        publication = bench.manifest()["publication"]
        ended, sentence = run(bench, chosen, day)
        assert ended in ("done", "already current", "refused"), sentence
        after = bench.files()
        if ended != "done":
            assert after == before
        if ended == "refused":
            assert sentence is not None
            assert "limeledger refresh" in sentence
        published = ended == "done" and (
            chosen is None or bool({"published_data", "published_pages", "store_state"} & {*chosen})
        )
        assert bench.manifest()["publication"] == publication + published
        if ended == "done":
            assert is_one_state(bench)
        if published:
            base = store.read_bytes()
        before = after
    assert store.read_bytes() == base
    clean = without_what_runs_left(bench, tmp_path) if case % OF_ONE_END == 0 else None
    print(f"all as of {end.day}")
    ended, sentence = run(bench, day=end.day)
    assert ended in ("done", "already current"), sentence
    assert is_one_state(bench)
    made = bench.tables()
    if clean is not None:
        assert run_in_order(clean, day=end.day) == (ended, None)
        assert differing(made, clean.tables()) == []
    wanted = from_nothing(bench, tmp_path, end)
    assert differing(without_the_past(made), without_the_past(wanted)) == []


def without_the_past(tables: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """The tables, or columns of them, that tell nothing of what was published before."""
    assert {*OF_THE_PAST} < {*tables}
    return {
        name: in_one_order(frame.drop(SINCE, strict=False))
        for name, frame in tables.items()
        if name not in OF_THE_PAST
    }


def without_what_runs_left(bench: Workbench, folder: Path) -> Workbench | None:
    """The inputs and what was published; None where no run left more, and all would be the same."""
    left = ("limeledger.duckdb.new", "limeledger.duckdb.new.wal")
    if not any((bench.root / "store" / name).exists() for name in left):
        return None
    without = shutil.ignore_patterns(*left)
    shutil.copytree(bench.root, folder / "clean", ignore=without)
    return Workbench(folder / "clean", bench.instance, in_full=False)


def from_nothing(bench: Workbench, folder: Path, end: End) -> dict[str, pl.DataFrame]:
    """The tables of a first refresh of the inputs: by one of the cases with that end for all."""
    if end.name in _FROM_NOTHING:
        return _FROM_NOTHING[end.name]
    without = ("store", "published", *(("desk",) if end.is_the_same else ()))
    shutil.copytree(bench.root, folder / "new", ignore=shutil.ignore_patterns(*without))
    new = Workbench(folder / "new", bench.instance, in_full=False)
    assert run_in_order(new, day=end.day) == ("done", None)
    tables = new.tables()
    if end.is_the_same:
        _FROM_NOTHING.clear()
        _FROM_NOTHING[end.name] = tables
    return tables


_FROM_NOTHING: dict[str, dict[str, pl.DataFrame]] = {}
