"""A table that is put in place has the new rows in their order, and keeps its comments."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.store import database, table_writer
from pipelines.store.table_writer import TableWriter

SHAPE = {"key": pl.String, "place": pl.Int64, "told": pl.List(pl.String)}
OLD = pl.DataFrame({"key": ["z"], "place": [9], "told": [["old"]]}, schema=SHAPE)


def parts(*keys: list[str]) -> list[pl.DataFrame]:
    """A part for each list of keys, each row with its place in its part."""
    return [
        pl.DataFrame(
            {"key": of, "place": range(len(of)), "told": [[key] for key in of]}, schema=SHAPE
        )
        for of in keys
    ]


@pytest.fixture
def con():
    """A store with one table, which has its comments."""
    con = duckdb.connect()
    database.write_frame(con, "t", OLD)
    con.execute("comment on table t is 'whole'")
    con.execute("comment on column t.key is 'part'")
    yield con
    con.close()


def put(con, *frames: pl.DataFrame, order: list[str] | None = None) -> None:
    """Writes the parts, and puts the table in its place."""
    with ThreadPoolExecutor(1) as beside:
        writer = TableWriter(con, beside, "t")
        for frame in frames:
            writer.add(frame)
        if order:
            writer.sort(order)
        assert_frame_equal(database.read_frame(con, "t"), OLD)
        writer.finish()
        con.execute("begin")
        writer.put_in_place()
        con.execute("commit")


def comments(con) -> list:
    """The comments on the table and its first column."""
    whole = "select comment from duckdb_tables() where table_name = 't'"
    part = "select comment from duckdb_columns() where table_name = 't' and column_name = 'key'"
    return [database.one_row(con, whole)[0], database.one_row(con, part)[0]]


@pytest.mark.parametrize("most", [0, 2, 100])
def test_rows_stand_in_their_order_and_comments_stay(con, monkeypatch, most: int) -> None:
    """Kept in memory, written from the second part on, and written at once."""
    monkeypatch.setattr(table_writer, "HELD_ROWS", most)
    told = parts(["b", "a"], [], ["d", "c"])
    put(con, *told)
    assert_frame_equal(database.read_frame(con, "t"), pl.concat(told))
    assert comments(con) == (["whole", "part"] if most == 100 else [None, None])
    assert database.table_names(con) == ["t"]


@pytest.mark.parametrize("most", [0, 100])
def test_parts_are_sorted_with_what_is_empty_last(con, monkeypatch, most: int) -> None:
    """Alike in memory and in the store."""
    monkeypatch.setattr(table_writer, "HELD_ROWS", most)
    told = [part.with_columns(place=pl.lit(None, pl.Int64)) for part in parts(["b", "é", "B"])]
    put(con, *told, *parts(["b", "a"]), order=["key", "place"])
    found = database.read_frame(con, "t").select("key", "place").rows()
    assert found == [("B", None), ("a", 1), ("b", 0), ("b", None), ("é", None)]


def test_no_rows_take_the_place_of_rows(con) -> None:
    """Twice, since the columns of a frame are looked at the first time."""
    for _ in range(2):
        put_now = OLD.clear()
        put(con, put_now)
        assert database.count_rows(con, "t") == 0
        assert comments(con) == ["whole", "part"]
        database.append_frame(con, "t", OLD)


def test_other_columns_make_another_table(con) -> None:
    """A type that changed is not cast into the old one."""
    other = OLD.with_columns(place=pl.lit(1.5))
    put(con, other)
    assert_frame_equal(database.read_frame(con, "t"), other)
    assert comments(con) == [None, None]


def test_what_is_put_in_place_can_be_taken_back(con) -> None:
    """The rows go with the transaction in which they came."""
    with ThreadPoolExecutor(1) as beside:
        writer = TableWriter(con, beside, "t")
        writer.add(parts(["a"])[0])
        con.execute("begin")
        writer.put_in_place()
        assert database.read_frame(con, "t")["key"].to_list() == ["a"]
        con.execute("rollback")
    assert_frame_equal(database.read_frame(con, "t"), OLD)
    assert comments(con) == ["whole", "part"]
