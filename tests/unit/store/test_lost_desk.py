"""A desk that no longer holds what was published of it: nothing goes on without it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from pipelines.cli.main import main
from pipelines.errors import WorkspaceError
from pipelines.events import Event, open_desk
from pipelines.events.recorded import read_recorded
from pipelines.store.lost_desk import lost_desk, refuse_lost_desk
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings
from schemas.codes import DESK_FILE
from schemas.columns import column_names
from schemas.states import StoreState

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"


def note(workspace: Workspace, text: str) -> None:
    """Somebody puts down a note."""
    desk = open_desk(workspace)
    with desk.writing() as connection:
        day = dt.date(2025, 12, 31)
        desk.append(connection, Event("note", day, "clerk", "command", "W05", None, {"text": text}))
    desk.close()


def publish(workspace: Workspace) -> None:
    """A store that says which events it rested on, and nothing else."""
    content = read_recorded(workspace, load_settings(workspace)).content
    hashes = [[DESK_FILE, hashlib.sha256(content).hexdigest()]] if content else []
    listing = json.dumps(hashes)
    recorded = hashlib.sha256(listing.encode()).hexdigest()
    files = [(recorded, listing.encode()), *((sha256, content) for _, sha256 in hashes)]
    others = [
        name
        for name in column_names(StoreState)
        if name not in ("recorded", "as_of", "publication", "published_at", "decided_at")
    ]
    with duckdb.connect(str(workspace.database)) as con:
        con.execute(
            "create or replace table store_state as select ? as recorded, 1 as publication, "
            "date '2025-12-31' as as_of, timestamp '2026-01-01' as published_at, "
            "timestamp '2026-01-01' as decided_at, " + ", ".join(f"'x' as {one}" for one in others),
            [recorded],
        )
        con.execute(
            "create or replace table archived_files (kind varchar, sha256 varchar, content blob)"
        )
        con.executemany("insert into archived_files values ('recorded', ?, ?)", files)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A workspace whose last publication rested on two notes."""
    shutil.copytree(CASES, tmp_path / "workspace")
    opened = Workspace.open(tmp_path / "workspace")
    opened.store.mkdir()
    note(opened, "one")
    note(opened, "two")
    publish(opened)
    return opened


def nothing(workspace: Workspace) -> None:
    """The desk stays as it is."""


def gone(workspace: Workspace) -> None:
    """The folder is deleted, or its disk is not mounted."""
    shutil.rmtree(workspace.desk)


def begun_anew(workspace: Workspace) -> None:
    """Somebody went on in a new desk, until it had more events than the old one."""
    gone(workspace)
    for text in ("two", "one", "three"):
        note(workspace, text)


def emptied(workspace: Workspace) -> None:
    """A file without a byte is what a full disk leaves of a copy."""
    gone(workspace)
    workspace.desk.mkdir()
    (workspace.desk / "desk.sqlite").touch()


def behind_a_link(workspace: Workspace) -> None:
    """The folder lies on a disk of its own, which is not mounted."""
    gone(workspace)
    workspace.desk.symlink_to("disks/desk")


def replaced(workspace: Workspace) -> None:
    """Somebody made a folder of the file's name."""
    gone(workspace)
    (workspace.desk / "desk.sqlite").mkdir(parents=True)


def older(workspace: Workspace) -> None:
    """A backup of before the second note is put back."""
    gone(workspace)
    note(workspace, "one")


def newer(workspace: Workspace) -> None:
    """People went on."""
    note(workspace, "three")


def never_published(workspace: Workspace) -> None:
    """Nothing of the desk was published yet."""
    gone(workspace)
    publish(workspace)


@pytest.mark.parametrize(
    ("what", "is_lost"),
    [
        (nothing, False),
        (newer, False),
        (never_published, False),
        (gone, True),
        (emptied, True),
        (older, True),
        (begun_anew, True),
    ],
)
def test_a_desk_goes_on_from_what_was_published_of_it(
    workspace: Workspace, what: Callable[[Workspace], None], is_lost: bool
) -> None:
    """Told by the digest of the last published event, not by how many there are."""
    what(workspace)
    settings = load_settings(workspace)
    assert (lost_desk(workspace, settings) is not None) is is_lost
    if is_lost:
        with pytest.raises(WorkspaceError, match=r"up to event 2, and .* --desk-is-lost"):
            refuse_lost_desk(workspace, settings)


@pytest.mark.parametrize("what", [gone, emptied])
@pytest.mark.parametrize(
    "command",
    [
        ("refresh", "WS", "--as-of", "2025-12-31"),
        ("note", "W05", "three", "WS", "--by", "clerk"),
        ("letters", "WS"),
        ("audit", "WS"),
        ("desk", "WS", "--port", "0"),
    ],
)
def test_nothing_begins_a_second_desk(
    workspace: Workspace,
    what: Callable[[Workspace], None],
    command: tuple[str, ...],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A refresh would publish as if nobody had ever ruled; an action would be lost by a backup."""
    what(workspace)
    left = [path.stat().st_size for path in workspace.desk.glob("*")]
    before = workspace.database.read_bytes()
    code = main([str(workspace.root) if word == "WS" else word for word in command])
    said = capsys.readouterr()
    assert (code, said.out) == (2, "")
    assert "What people recorded is lost" in said.err
    assert [path.stat().st_size for path in workspace.desk.glob("*")] == left
    assert workspace.database.read_bytes() == before


@pytest.mark.parametrize(
    ("what", "says"),
    [
        (nothing, None),
        (gone, "What people recorded is lost"),
        (emptied, "What people recorded is lost"),
        (behind_a_link, "desk is a link that leads nowhere; left out."),
        (replaced, "desk/desk.sqlite is no file that can be read; left out."),
    ],
)
def test_a_backup_without_the_desk_says_so(
    workspace: Workspace,
    what: Callable[[Workspace], None],
    says: str | None,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Else the next one would take the place of the last that has it, and nobody would know."""
    what(workspace)
    code = main(["backup", str(workspace.root), str(workspace.root.parent / "kept.zip")])
    said = capsys.readouterr().out
    assert (code, says is None or says in said) == (0 if says is None else 1, True)
    assert "kept.zip" in said
