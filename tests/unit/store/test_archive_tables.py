"""What a publication adds to the archive's tables."""

import datetime as dt

import duckdb
import polars as pl
import pytest

from pipelines.store.archive import rows, tables
from pipelines.store.database import write_frame
from pipelines.store.row_hashes import row_sha256
from schemas.archive import ARCHIVED_ROWS, FINDING
from schemas.columns import polars_schema
from schemas.decisions import Findings
from schemas.feeds import record_schema

DAY = dt.date(2026, 10, 1)


def test_findings_are_listed_by_their_position():
    """However the rows come, a claim has its findings from first to last, each as it is."""
    schema = polars_schema(Findings)
    cited = [{"feed": "units", "key": "U1", "file": "u.csv", "line": 2}]
    given = [("B", 2), ("A", 2), ("B", 1), ("A", 1)]
    frame = pl.DataFrame(
        [
            {"claim": claim, "position": place, "reason": f"{claim}{place}", "evidence": cited}
            for claim, place in given
        ],
        schema=schema,
    )
    listed = tables._listed_by_claim(frame)
    assert listed.schema == {"claim": pl.String, "findings": pl.List(FINDING)}
    assert listed["claim"].to_list() == ["A", "B"]
    reasons = [[one["reason"] for one in findings] for findings in listed["findings"]]
    assert reasons == [["A1", "A2"], ["B1", "B2"]]
    assert all(one["evidence"] == cited for findings in listed["findings"] for one in findings)


@pytest.mark.parametrize("kept_before", [False, True])
def test_a_record_leaves_where_the_archive_had_it_before(tmp_path, kept_before):
    """A kept record that is in no export left today; what came with this run left nowhere."""
    con = duckdb.connect(str(tmp_path / "new.duckdb"))
    con.execute(f"attach '{tmp_path / 'last.duckdb'}' as last")
    place = {"source_file": "u.csv", "source_line": 2, "arrived_on": DAY}
    schema = {**record_schema("units"), "arrived_on": pl.Date}
    stays, goes = ({"serial": serial, "model": "M", **place} for serial in ("U1", "U2"))
    kept = []
    for record in (stays, goes):
        write_frame(con, "units", pl.DataFrame([record], schema=schema, strict=False))
        digest = con.execute(f"select {row_sha256('units')} from units").fetchall()[0][0]
        kept.append({"row_sha256": digest, "feed": "units", "key": record["serial"]})
    write_frame(con, "units", pl.DataFrame([stays], schema=schema, strict=False))
    archived = pl.DataFrame(kept if kept_before else kept[:1], schema=ARCHIVED_ROWS)
    write_frame(con, "archived_rows", archived)
    if kept_before:
        con.execute("create table last.archived_rows as from archived_rows")
    rows.archive_arrivals(con, DAY)
    left = con.execute("select key, left_on from archived_rows order by key").fetchall()
    assert left == [("U1", None), *([("U2", DAY)] if kept_before else [])]
