"""What stands for a table's rows: the same for the same rows, and each table's own."""

import duckdb
import pytest

from pipelines.store import contents


@pytest.fixture
def con():
    """Twenty tables: more than are asked for in one question; the first two are alike."""
    con = duckdb.connect()
    for number in range(20):
        con.execute(f"create table t{number} as select {number or 1} as n, null::double as x")
    return con


def test_each_of_many_tables_has_its_own(con) -> None:
    """In whichever question it is asked, with its number of rows."""
    con.execute("insert into t19 values (5, 0.5)")
    names = [f"t{number}" for number in range(20)]
    many = contents.contents_and_rows(con, names)
    assert list(many) == names
    assert [rows for _, rows in many.values()] == [1] * 19 + [2]
    assert many["t0"] == many["t1"]
    assert len({content for content, _ in many.values()}) == 19
    assert [contents.content_of(con, name) for name in names] == [c for c, _ in many.values()]


@pytest.mark.parametrize(
    "change", ["update t2 set n = 3", "update t2 set x = '-0'", "alter table t2 rename x to y"]
)
def test_a_changed_value_or_column_is_another_content(con, change) -> None:
    """A table without a row has one too."""
    con.execute("update t2 set x = 0.0")
    before = contents.content_of(con, "t2")
    con.execute(change)
    after = contents.content_of(con, "t2")
    con.execute("truncate t2")
    assert len({before, after, contents.content_of(con, "t2")}) == 3


def test_no_table_has_no_content(con) -> None:
    """Nothing is asked where there is nothing to ask of."""
    assert contents.contents_and_rows(con, []) == {}
