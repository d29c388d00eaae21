"""What is searched of rows that are no records: every cell as it was typed."""

from __future__ import annotations

import duckdb
import pytest

from pipelines.store.searched import no_records
from pipelines.worklist.search import search
from schemas.codes import FEEDS

ROWS = (
    ("plain.csv", "", 4, ",", 'C-1,"Oak, Elm","6"" pipe",7.4', None),
    ("german.csv", "", 5, ";", "C-2;0,5;Stra\u00dfe 9", None),
    ("book.xlsx", "May", 6, None, "C-3\tA, B\t12", "May"),
    ("bars.txt", "", 7, "|", "C-4|x;y|z", None),
)


@pytest.fixture
def con():
    """The tables of a store in which one row a file is set aside for its date."""
    con = duckdb.connect()
    con.execute(
        "create table set_aside (feed varchar, file varchar, sheet varchar, line bigint, "
        "value varchar, reason varchar)"
    )
    con.execute(
        "create table row_fates (feed varchar, file varchar, sheet varchar, line bigint, "
        "fate varchar)"
    )
    con.execute(
        "create table file_parts (feed varchar, file varchar, sheet varchar, delimiter varchar)"
    )
    for feed in FEEDS:
        con.execute(
            f"create table landed_{feed} (file varchar, sheet varchar, line bigint, raw varchar)"
        )
    for file, sheet, line, delimiter, raw, aside in ROWS:
        con.execute("insert into landed_units values (?, ?, ?, ?)", [file, sheet, line, raw])
        con.execute("insert into file_parts values ('units', ?, ?, ?)", [file, sheet, delimiter])
        con.execute(
            "insert into set_aside values ('units', ?, ?, ?, '31.02.26', 'no date')",
            [file, aside, line],
        )
    con.execute("insert into landed_units values ('plain.csv', '', 9, 'C-9,old')")
    con.execute("insert into row_fates values ('units', 'plain.csv', '', 9, 'superseded')")
    return con


@pytest.mark.parametrize(
    ("query", "line"),
    [
        ("c1", 4), ("oak, elm", 4), ("elm C-1", 4), ('6"" pipe', 4), ("31.02.26 c-1", 4),
        ("c-2", 5), ("0,5", 5), ("c-3", 6), ("a, b", 6), ("c-4", 7), ("x;y", 7), ("c-9", 9),
    ],
)  # fmt: skip
def test_a_row_is_found_by_any_cell_as_typed(con, query, line) -> None:
    """Of text files, whose sheet is told as none where a row is set aside, and of workbooks."""
    results, total = search(no_records(con), query)
    assert (results["line"].to_list(), total) == ([line], 1)


def test_a_cell_ends_where_the_next_one_begins(con) -> None:
    """What is parted by two cells is no text of one."""
    rows = no_records(con)
    assert rows.height == len(ROWS) + 1
    for query in ("1oak", "c-2;0,5", "elm6", "4x"):
        assert search(rows, query)[1] == 0, query
