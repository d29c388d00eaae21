"""Whatever changes and whatever is selected: a run ends truthfully, and the next whole one well.

Each case draws changes of the inputs, as-of days and selections from a seed. `CASES` in the
environment says how many cases are drawn (a few without it), `SEED` from where; a case that fails
names its own seed.
"""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboards.site import LIBRARY, SPECIFICATIONS
from pipelines.steps import cause_suggestions, publish
from pipelines.steps.all_steps import STEPS, STORE_TABLES

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
CASES = int(os.environ.get("CASES", "2"))
SEED = int(os.environ.get("SEED", "20261130"))
DAYS = ("2025-12-30", "2025-12-31", "2026-01-01", "2026-02-15")
TABLES = [name for step in STEPS for name in step.tables]
GROUPS = sorted({step.group for step in STEPS})


def edit(path: Path, old: str, new: str) -> None:
    """Puts some other text in a file's place of it."""
    text = path.read_text("utf-8")
    assert old in text, path
    path.write_text(text.replace(old, new, 1), "utf-8")


def change_terms(root: Path, draw: random.Random) -> None:
    """An edition with other days, or with a note that changes nothing but the state."""
    path = root / "terms" / "W1.toml"
    path.write_text(path.read_text("utf-8") + f"\n# note {draw.random()}\n", "utf-8")


def change_reference(root: Path, draw: random.Random) -> None:
    """An agency goes by another name."""
    edit(root / "reference" / "agencies.csv", "Care", f"Care {draw.randrange(10**6)}")


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
    """Other settings, of which some figures know."""
    path = root / "limeledger.toml"
    path.write_text(f"{path.read_text('utf-8')}\n# {draw.random()}\n", "utf-8")


def change_rulings(root: Path, draw: random.Random) -> None:
    """A person rules on a claim."""
    path = root / "store" / "rulings.csv"
    header = "claim,ruled_at,ruled_by,ruling,reason,parts_approved,labor_approved,travel_approved"
    before = path.read_text("utf-8") if path.exists() else f"{header}\n"
    row = f"W{draw.randrange(1, 37):02d},2025-12-{draw.randrange(1, 29):02d}T08:00:00,clerk,"
    path.write_text(f"{before}{row}covered,seen,,,\n", "utf-8")


def change_nothing(root: Path, draw: random.Random) -> None:
    """The inputs stay as they are."""
    del root, draw


CHANGES = (
    change_terms,
    change_reference,
    change_exports,
    change_exports,
    change_settings,
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
    """Pages of one file and no study of notes: what is looked at here are the tables."""

    def one_page(data, out: Path, *_: object) -> None:
        for name in (LIBRARY, SPECIFICATIONS):
            (out / "assets" / name).parent.mkdir(parents=True, exist_ok=True)
            (out / "assets" / name).write_text("", "utf-8")
        (out / "index.html").write_text(str(data.as_of), "utf-8")

    def no_study(*_: object) -> SimpleNamespace:
        from schemas.causes import CAUSE_TABLES
        from schemas.columns import polars_schema

        frames = [polars_schema(table).to_frame() for table in CAUSE_TABLES.values()]
        names = ("suggestions", "quality", "reliability", "confusion")
        return SimpleNamespace(**dict(zip(names, frames, strict=True)))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(publish, "build_site", one_page)
        patch.setattr(cause_suggestions, "study_causes", no_study)
        yield


def is_one_state(bench) -> bool:
    """Whether store and pages are of one state, each table of it there."""
    states = bench.tables()["table_states"]
    return (
        set(states["state"]) == {bench.manifest()["state"]}
        and sorted(states["table"]) == sorted(STORE_TABLES)
        and set(bench.tables()) == set(STORE_TABLES)
    )


def differing(one: dict, other: dict) -> list[str]:
    """Names of tables that are not the same in two stores."""
    names = sorted({*one, *other})
    assert names
    return [n for n in names if n not in one or n not in other or not one[n].equals(other[n])]


@pytest.mark.parametrize("case", range(CASES))
def test_any_run_is_truthful(bench, tmp_path: Path, case: int) -> None:
    """Done, already current or refused; then a whole refresh gives what a clean one gives."""
    seed = SEED * 100_003 + case
    draw = random.Random(seed)
    print(f"SEED of this case: {seed}")
    bench.in_full = False
    assert is_one_state(bench)
    base = shutil.copytree(bench.root, tmp_path / "base")
    for _ in range(draw.randrange(1, 4)):
        draw.choice(CHANGES)(bench.root, draw)
        chosen, day = selection(draw), draw.choice(DAYS)
        before, publication = bench.files(), bench.manifest()["publication"]
        run = bench.run(chosen, day)
        assert run.ended in ("done", "already current", "refused"), run.sentence
        after = bench.files()
        if run.ended != "done":
            assert after == before
        if run.ended == "refused":
            assert run.sentence is not None
            assert "limeledger refresh" in run.sentence
        published = run.ended == "done" and (
            chosen is None or bool({"published_data", "published_pages", "store_state"} & {*chosen})
        )
        assert bench.manifest()["publication"] == publication + published
        assert is_one_state(bench)
        if published:
            shutil.rmtree(base)
            base = shutil.copytree(bench.root, tmp_path / "base")
    day = draw.choice(DAYS)
    clean = bench.copy(tmp_path / "clean")
    clean.in_full = False
    for folder in ("store/limeledger.duckdb.new", "store/limeledger.duckdb.new.wal"):
        (clean.root / folder).unlink(missing_ok=True)
    assert (base / "store" / "limeledger.duckdb").read_bytes() == (
        clean.root / "store" / "limeledger.duckdb"
    ).read_bytes()
    ended = bench.run(as_of=day).ended
    assert clean.run(as_of=day).ended == ended
    assert ended in ("done", "already current")
    assert is_one_state(bench)
    assert differing(bench.tables(), clean.tables()) == []
