"""Tables for people: Parquet and CSV, and the CSV packed where it is long."""

import gzip

import duckdb
import polars as pl
import pytest

from pipelines.store import publication


def test_a_long_csv_is_packed_and_holds_the_same(tmp_path, monkeypatch):
    """Up to the limit a CSV is plain; beyond it there is one packed file in its place."""
    con = duckdb.connect()
    con.execute("create table notes as select '=' || range as note from range(100)")
    monkeypatch.setattr(publication, "MOST_CSV_BYTES", 1_000_000)
    publication.write_table_files(con, ["notes"], tmp_path / "plain")
    monkeypatch.setattr(publication, "MOST_CSV_BYTES", 100)
    publication.write_table_files(con, ["notes"], tmp_path / "packed")
    assert sorted(path.name for path in (tmp_path / "plain").iterdir()) == [
        "notes.csv",
        "notes.parquet",
    ]
    assert sorted(path.name for path in (tmp_path / "packed").iterdir()) == [
        "notes.csv.gz",
        "notes.parquet",
    ]
    plain = (tmp_path / "plain/notes.csv").read_bytes()
    assert gzip.decompress((tmp_path / "packed/notes.csv.gz").read_bytes()) == plain
    assert pl.read_parquet(tmp_path / "packed/notes.parquet").height == 100


def test_a_csv_keeps_the_order_of_the_table_and_holds_no_formula(tmp_path):
    """Every way a formula begins gets its apostrophe, in texts and lists, row after row."""
    con = duckdb.connect()
    con.execute(
        "create table notes as select n, begin || n as note, [begin || n, 'b'] as said "
        "from range(70000) r(n), lateral (select ['=', '+', '-', '@', chr(9), chr(13), '', 'ü', "
        "' ='][1 + n % 9] as begin) order by n"
    )
    con.execute("insert into notes values (70000, '', []), (70001, null, null)")
    publication.write_table_files(con, ["notes"], tmp_path)
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


@pytest.mark.parametrize("packed_from", [100, 0])
def test_files_of_a_table_that_is_as_it_was_are_taken_over(tmp_path, monkeypatch, packed_from):
    """The same files under new names; those of other rows, or in another order, are written."""
    monkeypatch.setattr(publication, "MOST_CSV_BYTES", packed_from)
    con = duckdb.connect()
    _table(con, ROWS)
    last = tmp_path / "last"
    publication.write_table_files(con, ["notes"], last)
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
        publication.write_table_files(con, ["notes"], new, last=last)
        publication.write_table_files(con, ["notes"], alone)
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
    publication.write_table_files(con, ["notes"], last)
    file = last / name
    whole = file.read_bytes()
    if damage == "gone":
        file.unlink()
    else:
        file.write_bytes(whole[:-5] + (b"" if damage == "cut" else b"12345"))
    publication.write_table_files(con, ["notes"], new, last=last)
    publication.write_table_files(con, ["notes"], alone)
    for written in ("notes.csv", "notes.parquet"):
        assert (new / written).read_bytes() == (alone / written).read_bytes()
        assert not (last / written).exists() or not (new / written).samefile(last / written)


def test_a_disk_without_links_gets_copies(tmp_path, monkeypatch):
    """The same bytes, in a file of their own."""
    monkeypatch.setattr(publication.os, "link", _refused)
    con = duckdb.connect()
    _table(con, ROWS)
    publication.write_table_files(con, ["notes"], tmp_path / "last")
    publication.write_table_files(con, ["notes"], tmp_path / "new", last=tmp_path / "last")
    for name in ("notes.csv", "notes.parquet"):
        one, other = tmp_path / "last" / name, tmp_path / "new" / name
        assert one.read_bytes() == other.read_bytes()
        assert one.stat().st_mtime_ns == other.stat().st_mtime_ns
        assert not one.samefile(other)


def _refused(*_: object) -> None:
    raise OSError("no links here")
