"""Rows of two sorted tables put together: all there, in order, whatever the ranges."""

from __future__ import annotations

import random

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.store import database, merging


def rows(keys: list[str], word: str) -> pl.DataFrame:
    """Two rows a key, in order."""
    return pl.DataFrame(
        {
            "key": [key for key in keys for _ in range(2)],
            "place": [0, 1] * len(keys),
            "told": [[word, key] for key in keys for _ in range(2)],
        },
        schema={"key": pl.String, "place": pl.Int64, "told": pl.List(pl.String)},
    )


@pytest.mark.parametrize("most", [1, 2, 3, 100])
def test_kept_and_new_rows_stand_in_order(monkeypatch, most: int) -> None:
    """New keys come before, between and after the kept ones; a key that is not kept is gone."""
    monkeypatch.setattr(merging, "MERGED_KEYS", most)
    drawn = random.Random(most)
    for _ in range(20):
        keys = [f"K{place:02d}" for place in range(30)]
        old = sorted(drawn.sample(keys, 15))
        kept = sorted(drawn.sample(old, drawn.randint(1, 15)))
        new = sorted(set(drawn.sample(keys, drawn.randint(0, 30))) - set(kept))
        con = duckdb.connect()
        database.write_frame(con, "last", rows(old, "old"))
        database.write_frame(con, "fresh", rows(new, "new"))
        mixed = pl.DataFrame({"key": drawn.sample(kept, len(kept))})
        merging.merge_table(con, "fresh", "last", mixed, ["key", "place"])
        both = pl.concat([rows(kept, "old"), rows(new, "new")]).sort("key", "place")
        assert_frame_equal(database.read_frame(con, "fresh"), both)
        assert_frame_equal(database.read_frame(con, "last"), rows(old, "old"))
        con.close()


@pytest.mark.parametrize("keys_at_a_time", [1, 2, 5, 100])
def test_ranges_lose_no_row_and_nulls_come_last(monkeypatch, keys_at_a_time):
    """However few keys a range has, each row comes once, in order, also those without a key."""
    monkeypatch.setattr(merging, "MERGED_KEYS", keys_at_a_time)
    rows = [(None, 2), ("b", 1), ("a", 3), ("c", 1), ("a", 1), (None, 1), ("d", 9), ("b", 0)]
    with duckdb.connect() as con:
        con.execute("create temp table comes (key varchar, n integer)")
        con.executemany("insert into comes values (?, ?)", rows)
        con.execute("create temp table ordered as from comes limit 0")
        merging.insert_in_order(con, "comes", "ordered", ("key", "n"))
        ordered = con.execute("from ordered").fetchall()
    assert ordered == sorted(rows, key=lambda row: (row[0] is None, row[0] or "", row[1]))
