"""Tables for people: Parquet and CSV, and the CSV packed where it is long."""

import gzip

import duckdb
import polars as pl

from pipelines.warehouse import publication


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
