"""Whether a store and its pages are what was put there: rows counted, files listed."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pytest

from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import row_counts
from pipelines.store.published_state import missing_files, without_state, write_manifest
from pipelines.workspace.layout import Workspace

STATES = """create table table_states as select "table", rows, 's' as state,
    date '2026-01-01' as as_of, 'e' as exports, 'm' as mappings, 'r' as reference, 't' as terms,
    's' as settings, 'd' as recorded, '1' as tool_version, 'x' as tool, 'r' as run,
    timestamp '2026-01-01' as made_at
    from (values ('table_states', 3), ('decisions', 2), ('decision_history', 1)) v("table", rows)"""


def put_store(path: Path, *then: str) -> None:
    """A store of three tables, to which something is done by hand afterwards."""
    with duckdb.connect(str(path)) as con:
        con.execute(STATES)
        con.execute("create table decisions as select unnest([1, 2]) as claim")
        con.execute("create table decision_history as select 1 as claim")
        con.execute("create view overview as from decisions")
        for statement in then:
            con.execute(statement)


@pytest.mark.parametrize(
    ("by_hand", "wrong"),
    [
        ("select 1", []),
        ("delete from decisions where claim = 1", ["decisions has not the rows"]),
        ("insert into decisions values (3)", ["decisions has not the rows"]),
        ("drop table decision_history", ["decision_history is missing"]),
        ('create table "my.notes" as select 1', ["my.notes does not say of which state"]),
    ],
)
def test_what_was_done_by_hand_is_seen(tmp_path: Path, by_hand: str, wrong: list[str]) -> None:
    """In the store itself, and in one that is attached as the last one."""
    path = tmp_path / "limeledger.duckdb"
    put_store(path, by_hand)
    with duckdb.connect(str(path)) as con:
        own = without_state(con)
    with duckdb.connect() as con:
        con.execute(f"attach '{path}' as last (read_only)")
        attached = without_state(con, last=True)
        assert row_counts(con) == {}
    assert own == attached
    assert len(own) == len(wrong)
    assert all(says in sentence for says, sentence in zip(wrong, own, strict=True))


@pytest.mark.parametrize(
    ("by_hand", "sound"),
    [
        ("select 1", True),
        ("delete from decisions", True),
        ("delete from decision_history", False),
        ("drop table decision_history", False),
    ],
)
def test_a_store_that_lost_what_the_archive_keeps_is_put_together_again(
    tmp_path: Path, by_hand: str, sound: bool
) -> None:
    """Any other table is made from the exports; only the archive still has the history."""
    (tmp_path / "limeledger.toml").write_text("", encoding="utf-8")
    for name in ("exports", "store"):
        (tmp_path / name).mkdir()
    put_store(tmp_path / "store" / "limeledger.duckdb", by_hand)
    assert is_sound(Workspace.open(tmp_path)) is sound


def test_published_files_that_went_are_named(tmp_path: Path) -> None:
    """What others lay beside them is no matter, nor is the note, which comes and goes."""
    for name in ("index.html", "data/units.csv", "assets/status.js", "claims/w1.html"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("")
    write_manifest(tmp_path, {"publication": 1})
    assert json.loads((tmp_path / "manifest.json").read_text())["files"] == 5
    (tmp_path / "assets" / "status.js").unlink()
    (tmp_path / "robots.txt").write_text("")
    assert missing_files(tmp_path) == []
    (tmp_path / "claims" / "w1.html").unlink()
    (tmp_path / "data" / "units.csv").unlink()
    assert missing_files(tmp_path) == ["claims/w1.html", "data/units.csv"]
    (tmp_path / "assets" / "files.json").unlink()
    assert missing_files(tmp_path) == ["assets/files.json"]
    (tmp_path / "manifest.json").write_text("{}")  # of an earlier version
    assert missing_files(tmp_path) == []
