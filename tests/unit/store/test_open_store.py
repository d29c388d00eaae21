"""The store is read by several at a time, and taken up anew where another is in its place."""

from __future__ import annotations

import os
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest

from pipelines.errors import WorkspaceError
from pipelines.store.database import connect, one_row
from pipelines.store.reading import kept_open, open_store


def _store(path: Path, value: int) -> None:
    con = duckdb.connect(str(path))
    con.execute(f"create table t as select {value} as v")
    con.close()


def _workspace(folder: Path, name: str) -> SimpleNamespace:
    """What opening a store asks of a workspace."""
    published = folder / "published"
    return SimpleNamespace(database=folder / name, store=folder, published=published, root=folder)


@pytest.fixture
def place(tmp_path):
    """A workspace of which only the store is asked."""
    _store(tmp_path / "a.duckdb", 1)
    return _workspace(tmp_path, "a.duckdb")


def _value(place) -> int:
    with open_store(place) as con:
        return one_row(con, "select v from t")[0]


def _replace(place) -> None:
    _store(place.root / "new", 2)
    os.replace(place.root / "new", place.database)


def test_several_read_at_a_time(place) -> None:
    """Two readers in one thread, and eight in others."""
    with open_store(place) as one, open_store(place) as other:
        assert one_row(one, "select v from t") == one_row(other, "select v from t") == (1,)
        with ThreadPoolExecutor(8) as pool:
            assert list(pool.map(lambda _: _value(place), range(40))) == [1] * 40


@pytest.mark.parametrize("kept", [False, True])
def test_another_store_is_taken_up(place, kept) -> None:
    """By the next reader, whether or not the store is kept open; nobody holds it at the end."""
    if kept:
        with kept_open(place):
            assert _value(place) == 1
            _replace(place)
            assert _value(place) == 2
    else:
        assert _value(place) == 1
        _replace(place)
        assert _value(place) == 2
    con = duckdb.connect(str(place.database))  # to write: refused while a reader has it open
    con.execute("create table u as select 1")
    con.close()


def test_who_reads_goes_on_and_others_wait(place) -> None:
    """A reader keeps the store it began with; another thread gets the new one after it."""
    found = []
    with open_store(place) as con:
        _replace(place)
        waiting = threading.Thread(target=lambda: found.append(_value(place)))
        waiting.start()
        assert one_row(con, "select v from t") == (1,)
        assert _value(place) == 1
        waiting.join(0.05)
        assert found == []
    waiting.join(10)
    assert found == [2]


def test_no_store_is_told(tmp_path) -> None:
    """The sentence says how to make one."""
    with (
        pytest.raises(WorkspaceError) as told,
        open_store(_workspace(tmp_path, "none")),
    ):
        pass
    assert "run `limeledger refresh" in str(told.value)


def test_many_can_read_one_store_at_once_in_one_process(tmp_path: Path) -> None:
    """As the desk does: each request opens it, whichever others have it open."""
    path = tmp_path / "store.duckdb"
    with closing(connect(path)) as con:
        con.execute("create table t as select 7 as n")

    def read(_: int) -> list:
        with closing(connect(path, read_only=True)) as con:
            return con.execute("select n from t").fetchall()

    with closing(connect(path, read_only=True)), ThreadPoolExecutor(8) as threads:
        assert list(threads.map(read, range(40))) == [[(7,)]] * 40
