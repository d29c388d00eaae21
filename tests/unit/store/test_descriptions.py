"""What the store says of itself, and the check of its keys."""

import datetime as dt

import duckdb
import pytest

from pipelines.errors import KeyFault
from pipelines.store import descriptions, views
from pipelines.store.descriptions import check_keys, comment_on_all, data_dictionary
from schemas.catalog import CATALOG


@pytest.fixture
def con():
    """A store with two tables and a view over one."""
    con = duckdb.connect()
    con.execute(
        "create table findings(claim varchar, position bigint, condition varchar, outcome varchar, "
        "reason varchar, evidence struct(feed varchar, key varchar, file varchar, line bigint)[], "
        "document varchar)"
    )
    con.execute(
        "insert into findings values ('K1', 1, 'unit_on_register', 'met', 'It is.', "
        "[{'feed': 'units', 'key': 'U1', 'file': 'u.csv', 'line': 2}, "
        "{'feed': 'service_calls', 'key': 'C1', 'file': 'c.csv', 'line': 5}], null), "
        "('K1', 2, 'terms_in_force', 'met', 'They are.', [], null)"
    )
    con.execute("create table agency_figures(agency varchar, measure varchar)")
    con.execute(
        "create view evidence as select claim, position, condition, 1 as number, "
        "'units' as feed, 'U1' as key, 'u.csv' as file, 2 as line from findings"
    )
    return con


def test_tables_views_and_columns_have_comments(con):
    """A table's ends with its key; a column's is what the dictionary says."""
    comment_on_all(con)
    tables = dict(con.execute("select table_name, comment from duckdb_tables()").fetchall())
    assert tables["findings"].endswith(" Key: claim, position.")
    views = dict(con.execute("select view_name, comment from duckdb_views()").fetchall())
    assert views["evidence"].endswith(" Key: claim, position, number.")
    columns = con.execute(
        "select table_name, column_name, comment from duckdb_columns()"
    ).fetchall()
    said = {(table, column): comment for table, column, comment in columns}
    assert said["findings", "reason"] == CATALOG["findings"].column("reason").meaning
    assert said["evidence", "number"] == CATALOG["evidence"].column("number").meaning
    assert all(said[table, column] for table, column in said if table in CATALOG)


def test_the_dictionary_has_a_row_a_column(con):
    """Type, unit, key, words and what it joins to; the dictionary describes itself too."""
    rows = data_dictionary(con)
    assert rows.columns == [
        "table", "position", "column", "type", "unit", "key", "words", "references", "description",
    ]  # fmt: skip
    of_findings = rows.filter(table="findings")
    assert of_findings["column"].to_list()[:3] == ["claim", "position", "condition"]
    assert of_findings["key"].to_list() == ["yes", "yes", "no", "no", "no", "no", "no"]
    assert of_findings.row(0, named=True)["references"] == "decisions.claim"
    assert "disputed" in of_findings.filter(column="outcome")["words"].item().split("; ")
    assert rows.filter(table="data_dictionary").height == 9


@pytest.mark.parametrize("few", [20_000, -1])
def test_two_rows_of_one_key_stop_the_publication(con, monkeypatch, few):
    """The sentence names the table and the key, be it asked with others or, if large, alone."""
    monkeypatch.setattr(descriptions, "_FEW_ROWS", few)
    check_keys(con)
    con.execute("insert into agency_figures values ('AG1', 'travel'), ('AG1', 'travel')")
    with pytest.raises(
        KeyFault, match=r"agency_figures has two rows of one key \(agency AG1, measure"
    ):
        check_keys(con)


def test_a_view_shows_each_citation_with_its_place(con):
    """The records of a finding are numbered from 1 in their order; a finding without has none."""
    con.execute("drop view evidence")
    con.execute(
        "create table archived_rows as select * from (values "
        "('aa', 'units', 'U1', 'u.csv', 2, date '2026-01-02', null::date), "
        "('bb', 'units', 'U1', 'u.csv', 2, date '2025-01-02', date '2026-01-02')) "
        "as t(row_sha256, feed, key, file, line, arrived_on, left_on)"
    )
    rows = con.execute(f"select * from ({views._EVIDENCE}) order by position, number").fetchall()
    assert rows == [
        ("K1", 1, "unit_on_register", 1, "units", "U1", "u.csv", 2, "aa", dt.date(2026, 1, 2)),
        ("K1", 1, "unit_on_register", 2, "service_calls", "C1", "c.csv", 5, None, None),
    ]
