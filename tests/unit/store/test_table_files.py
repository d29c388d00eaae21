"""Tables for people: Parquet and CSV, and Parquet alone where a spreadsheet has too few rows."""

import csv
import json

import duckdb
import polars as pl
import pytest

from pipelines.store import publication, table_files


def written(con, folder, last=None, csv_max_rows=1_048_575, tables=("notes",)):
    """Writes the tables; what came of each."""
    return table_files.write_table_files(con, tables, folder, None, last, csv_max_rows=csv_max_rows)


def test_a_table_of_more_rows_than_a_spreadsheet_has_is_parquet_alone(tmp_path):
    """Up to the limit there is a CSV, one row beyond it there is none, and nothing is packed."""
    con = duckdb.connect()
    con.execute("create table notes as select '=' || range as note from range(100)")
    assert written(con, tmp_path / "both", csv_max_rows=100)["notes"].has_csv
    assert not written(con, tmp_path / "alone", csv_max_rows=99)["notes"].has_csv
    assert sorted(path.name for path in (tmp_path / "both").iterdir()) == [
        "notes.csv",
        "notes.parquet",
    ]
    assert [path.name for path in (tmp_path / "alone").iterdir()] == ["notes.parquet"]
    assert pl.read_parquet(tmp_path / "alone/notes.parquet").height == 100


def test_structs_and_exact_amounts_stay_what_they_are(tmp_path):
    """Parquet has lists of structs and exact decimals as such; the CSV has JSON, null is empty."""
    con = duckdb.connect()
    con.execute(
        "create table notes as select 1 as n, [{'feed': 'units', 'key': '=1', 'file': 'a, b.csv', "
        "'line': 7}] as evidence, 12.50::decimal(18, 2) as amount "
        "union all select 2, [], null union all select 3, null, null"
    )
    written(con, tmp_path)
    frame = pl.read_parquet(tmp_path / "notes.parquet")
    cited = {"feed": "units", "key": "=1", "file": "a, b.csv", "line": 7}
    assert frame["evidence"].to_list() == [[cited], [], None]
    assert frame.schema["amount"] == pl.Decimal(18, 2)
    read = pl.read_csv(tmp_path / "notes.csv", infer_schema=False)
    assert json.loads(read["evidence"][0]) == [cited]
    assert read["evidence"][1:].to_list() == ["[]", None]
    assert read["amount"].to_list() == ["12.50", None, None]


def test_a_view_is_written_in_the_order_of_its_key(tmp_path):
    """What a view shows does not depend on the order in which its tables are joined."""
    con = duckdb.connect()
    con.execute(
        "create view unit_events as select * from (values "
        "('U2', date '2026-01-01', 'units', 'U2', 'shipped', 'u.csv', 3), "
        "('U1', date '2026-01-02', 'units', 'U1', 'shipped', 'u.csv', 2)) "
        "as t(serial, day, feed, key, event, file, line)"
    )
    written(con, tmp_path, tables=["unit_events"])
    assert pl.read_parquet(tmp_path / "unit_events.parquet")["serial"].to_list() == ["U1", "U2"]


def test_a_csv_keeps_the_order_of_the_table_and_holds_no_formula(tmp_path):
    """Every way a formula begins gets its apostrophe, in texts and lists, row after row."""
    con = duckdb.connect()
    con.execute(
        "create table notes as select n, begin || n as note, [begin || n, 'b'] as said "
        "from range(70000) r(n), lateral (select ['=', '+', '-', '@', chr(9), chr(13), '', 'ü', "
        "' ='][1 + n % 9] as begin) order by n"
    )
    con.execute("insert into notes values (70000, '', []), (70001, null, null)")
    written(con, tmp_path)
    read = pl.read_csv(tmp_path / "notes.csv", quote_char='"').fill_null("")
    begins = ["'=", "'+", "'-", "'@", "'\t", "'\r", "", "ü", " ="]
    notes = [f"{begins[n % 9]}{n}" for n in range(70_000)]
    assert read["n"].to_list() == list(range(70_002))
    assert read["note"].to_list() == [*notes, "", ""]
    assert read["said"].to_list() == [*(f"{note}; b" for note in notes), "", ""]


def _table(con: duckdb.DuckDBPyConnection, rows: str) -> None:
    con.execute(
        "create or replace table notes as select n, said::varchar[] as said, share "
        f"from (values {rows}) as t(n, said, share)"
    )


ROWS = "(1, ['a', null], 0.0::double), (2, ['b'], 1), (3, null, null)"


@pytest.mark.parametrize("csv_max_rows", [100, 1])
def test_files_of_a_table_that_is_as_it_was_are_taken_over(tmp_path, csv_max_rows):
    """The same files under new names; those of other rows, or in another order, are written."""
    con = duckdb.connect()
    _table(con, ROWS)
    last = tmp_path / "last"
    written(con, last, None, csv_max_rows)
    for number, rows in enumerate(
        [
            ROWS,
            "(1, ['a', null], 0.0::double), (3, null, null), (2, ['b'], 1)",
            "(1, ['a', null], 0.0::double), (2, ['b'], 1)",
            "(1, ['a', null], 0.0::double), (2, ['b'], 1), (3, [], null)",
            "(1, ['a', null], 0.0::double), (2, ['b'], 1), (3, [null], null)",
            "(1, ['a', null], '-0.0'::double), (2, ['b'], 1), (3, null, null)",
            "(1::double, ['a', null], 0.0::double), (2, ['b'], 1), (3, null, null)",
        ]
    ):
        _table(con, rows)
        new, alone = tmp_path / f"new{number}", tmp_path / f"alone{number}"
        written(con, new, last, csv_max_rows)
        written(con, alone, None, csv_max_rows)
        names = sorted(path.name for path in alone.iterdir())
        assert sorted(path.name for path in new.iterdir()) == names
        for name in names:
            assert (new / name).read_bytes() == (alone / name).read_bytes()
            assert (new / name).samefile(last / name) == (rows == ROWS)


@pytest.mark.parametrize("name", ["notes.csv", "notes.parquet"])
@pytest.mark.parametrize("damage", ["cut", "gone", "changed"])
def test_files_that_are_no_longer_whole_are_not_taken_over(tmp_path, name, damage):
    """What somebody changed or a crash cut off is written anew, and the old one left alone."""
    con = duckdb.connect()
    _table(con, ROWS)
    last, new, alone = tmp_path / "last", tmp_path / "new", tmp_path / "alone"
    written(con, last)
    file = last / name
    whole = file.read_bytes()
    if damage == "gone":
        file.unlink()
    else:
        file.write_bytes(whole[:-5] + (b"" if damage == "cut" else b"12345"))
    written(con, new, last)
    written(con, alone)
    for part in ("notes.csv", "notes.parquet"):
        assert (new / part).read_bytes() == (alone / part).read_bytes()
        assert not (last / part).exists() or not (new / part).samefile(last / part)


def test_a_disk_without_links_gets_copies(tmp_path, monkeypatch):
    """The same bytes, in a file of their own."""
    monkeypatch.setattr(publication.os, "link", _refused)
    con = duckdb.connect()
    _table(con, ROWS)
    written(con, tmp_path / "last")
    written(con, tmp_path / "new", tmp_path / "last")
    for name in ("notes.csv", "notes.parquet"):
        one, other = tmp_path / "last" / name, tmp_path / "new" / name
        assert one.read_bytes() == other.read_bytes()
        assert one.stat().st_mtime_ns == other.stat().st_mtime_ns
        assert not one.samefile(other)


def _refused(*_: object) -> None:
    raise OSError("no links here")


def test_a_csv_says_what_the_store_holds_whatever_its_type(tmp_path):
    """Moments, amounts, flags, quotes and line ends read back as the store casts them to text."""
    con = duckdb.connect()
    con.execute(
        "create table notes as select * from (values "
        "(1, timestamp '2026-01-02 03:04:05.5', 12.50::decimal(18, 2), true, 'a \"b\", c', 0.1), "
        "(2, timestamp '2026-01-02 03:04:05', -0.05, false, 'x' || chr(13) || chr(10) || 'y', 2), "
        "(3, timestamp '2026-01-02 03:04:05.02649', 0, null, '-1', null)) "
        "t(n, moment, amount, flag, note, share)"
    )
    con.execute("alter table notes add column days struct(feed varchar, through_date date)[]")
    con.execute("update notes set days = [{feed: 'a\"b', through_date: date '2026-03-04'}]")
    written(con, tmp_path)
    with (tmp_path / "notes.csv").open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    expected_rows = con.sql(
        "select n::varchar, moment::varchar, amount::varchar, flag::varchar, note, share::varchar, "
        "to_json(days)::varchar from notes"
    ).fetchall()
    assert header == ["n", "moment", "amount", "flag", "note", "share", "days"]
    last = expected_rows[2]
    expected_rows[2] = (*last[:4], "'-1", *last[5:])  # no live formula
    for row, expected in zip(rows, expected_rows, strict=True):
        assert row[:5] == ["" if cell is None else cell for cell in expected[:5]]
        assert float(row[5] or "nan") == pytest.approx(float(expected[5] or "nan"), nan_ok=True)
        assert row[6] == expected[6]


def test_an_empty_table_has_its_header(tmp_path):
    """Both files name the columns where there is no row, and are taken over as others are."""
    con = duckdb.connect()
    con.execute("create table notes (n bigint, said varchar[])")
    written(con, tmp_path / "last")
    written(con, tmp_path / "new", tmp_path / "last")
    assert (tmp_path / "last/notes.csv").read_bytes() == b"n,said\n"
    assert pl.read_parquet(tmp_path / "last/notes.parquet").columns == ["n", "said"]
    assert (tmp_path / "new/notes.csv").samefile(tmp_path / "last/notes.csv")
