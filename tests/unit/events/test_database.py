"""The desk's database: what it keeps, what it refuses, and its chain."""

import datetime as dt
import sqlite3
from dataclasses import replace

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from pipelines.errors import StorageError, WorkspaceError
from pipelines.events import Event, open_desk
from pipelines.events.event import chain_faults
from pipelines.events.recorded import DeskRecord, look_at_recorded, read_recorded
from pipelines.events.tables import METADATA
from pipelines.workspace.layout import Workspace
from tests.desks import DAY, SETTINGS, make_desk


@pytest.fixture
def desk(tmp_path):
    """A desk with three notes on two claims."""
    desk = make_desk(tmp_path / "ws")
    with desk.writing() as connection:
        for claim in ("C1", "C2", "C1"):
            told = {"text": "née O’Dell"}
            desk.append(connection, Event("note", DAY, "clara", "command", claim, payload=told))
    yield desk
    desk.close()


def test_events_rise_and_are_read_back(desk):
    """Numbers begin at 1 and rise by one; a claim's version is its last event."""
    with desk.reading() as connection:
        events = desk.events(connection)
        assert [event.event for event in events] == [1, 2, 3]
        assert [desk.version(connection, claim) for claim in ("C1", "C2", "C3")] == [3, 2, 0]
        assert [e.event for e in desk.events(connection, claim="C1", newest_first=True)] == [3, 1]
    assert events[0].payload == {"text": "née O’Dell"}
    assert events[0].moment.utcoffset() == dt.timedelta(0)


@pytest.mark.parametrize(
    "statement",
    [
        "update events set actor = 'x' where event = 1",
        "delete from events where event = 3",
        "insert or replace into events select * from events where event = 2",
    ],
)
def test_the_database_refuses_to_change_an_event(desk, statement):
    """Triggers stand in the database itself, whoever writes."""
    file = sqlite3.connect(desk.workspace.desk / "desk.sqlite")
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        file.execute(statement)
    file.close()


def test_what_is_rolled_back_leaves_nothing(desk):
    """An action that fails half way has appended nothing, and its number is given again."""

    def half():
        with desk.writing() as connection:
            desk.append(connection, Event("note", DAY, "clara", "command", "C1"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half()
    with desk.reading() as connection:
        assert desk.last_event(connection) == 3


def test_the_chain_tells_what_was_changed(desk):
    """A whole chain has no fault; a changed, a missing and a swapped event have one each."""
    with desk.reading() as connection:
        events = desk.events(connection)
    assert list(chain_faults(events)) == []
    changed = [events[0], replace(events[1], actor="mallory"), events[2]]
    assert [fault[:7] for fault in chain_faults(changed)] == ["Event 2"]
    assert [fault[:7] for fault in chain_faults([events[0], events[2]])] == ["Event 3"]
    assert list(chain_faults([events[1], events[0], events[2]]))


@pytest.mark.parametrize("read", [read_recorded, look_at_recorded])
def test_what_people_recorded_is_read_where_there_is_a_desk(desk, tmp_path, read):
    """Three events here; where nobody did anything, nothing, and no desk comes of it."""
    assert read(desk.workspace, desk.settings).last_event == 3
    folder = tmp_path / "other"
    (folder / "exports").mkdir(parents=True)
    (folder / "limeledger.toml").write_text(SETTINGS, encoding="utf-8")
    assert read(Workspace.open(folder), desk.settings) == DeskRecord()
    assert sorted(path.name for path in folder.iterdir()) == ["exports", "limeledger.toml"]


def test_sqlite_is_written_through(desk):
    """The file is in WAL mode and synced fully, so that a power cut loses nothing acknowledged."""
    with desk.reading() as connection:
        assert connection.exec_driver_sql("pragma journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("pragma synchronous").scalar() == 2


def test_migrations_make_the_tables(desk):
    """What the migrations made is what the tool reads."""
    with desk.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []


def test_a_newer_database_is_refused(desk):
    """A database of a version that the tool does not know is left alone."""
    with desk.writing() as connection:
        connection.execute(sa.text("update alembic_version set version_num = '9999'"))
    with pytest.raises(WorkspaceError, match="newer than this tool"):
        open_desk(desk.workspace)


def test_a_server_that_cannot_be_reached_is_told(tmp_path):
    """A PostgreSQL that does not answer ends in a sentence that names the setting."""
    address = "postgresql://nobody@127.0.0.1:9/limeledger"
    with pytest.raises(WorkspaceError, match=r"\[desk\] database.*cannot be reached"):
        make_desk(tmp_path / "ws", f'[desk]\ndatabase = "{address}"\n')


@pytest.mark.parametrize("content", [b"no database at all" * 100, None])
def test_a_damaged_file_is_told_as_that(desk, content):
    """To whoever acts and whoever looks; a file with torn pages as one that is no database."""
    desk.close()
    path = desk.workspace.desk / "desk.sqlite"
    if content is None:
        torn = bytearray(path.read_bytes())
        torn[100:4096] = b"\xff" * 3996
        content = bytes(torn)
    path.write_bytes(content)
    for read in (read_recorded, look_at_recorded):
        with pytest.raises(StorageError, match=r"is damaged .* restore desk/ from a backup"):
            read(desk.workspace, desk.settings)
    assert path.read_bytes() == content
