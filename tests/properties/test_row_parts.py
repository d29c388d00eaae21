"""Rows settled in parts: the records, fates and accounts of one part, however many parts there are.

The parts are read by the store's own SQL, so that a key or a shared claim number in two of them
would show.
"""

from __future__ import annotations

import duckdb
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.engine.ground import NO_VALUES, Ground
from pipelines.engine.record_part import records_of
from pipelines.engine.works import WORKS
from pipelines.records.accounting import Accounted, account, accounts_of, gather
from pipelines.records.mapping import load_mapping
from pipelines.records.settling import Ends, latest_seen, looked_at
from pipelines.records.through_dates import latest_of, through_dates
from pipelines.steps.ingest import stored_schema
from pipelines.store.row_parts import number_of_row_parts, row_parts
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES
from tests.drawn import examples
from tests.properties.test_records_accounting import (
    FILES,
    REFERENCES,
    call_files,
    parsed,
    state,
)

GROUND = Ground(
    {
        "models": pl.DataFrame({"model": REFERENCES.models}),
        "treatments": pl.DataFrame({"product": REFERENCES.products}),
        "causes": pl.DataFrame({"cause": REFERENCES.causes}),
    },
    NO_VALUES,
)


def in_parts(feed: str, files: dict, count: int) -> tuple[Accounted, int]:
    """The account of files whose rows are settled in so many parts, and how many had any."""
    rows, of_files, set_aside = gather(files)
    schema = stored_schema(feed)
    rows = rows if rows.height else schema.to_frame()
    lacking = {n: pl.lit(None, kind) for n, kind in schema.items() if n not in rows.columns}
    stored = (
        rows.with_columns(**lacking)
        .with_columns(pl.col("source_part").fill_null(1), pl.col("source_sheet").fill_null(""))
        .select(schema.names())
        .cast(schema)
    )
    with duckdb.connect() as con:
        con.register("incoming", stored.to_arrow())
        con.execute(f"create table parsed_{feed} as from incoming")
        seen = [
            latest_seen(feed, part, REFERENCES)
            for part in row_parts(con, feed, count, looked_at(feed))
        ]
        through = through_dates(of_files, latest_of(seen))
        parts = list(row_parts(con, feed, count))
    assert sum(part.height for part in parts) == stored.height
    made = [WORKS[records_of(feed)](GROUND, {"rows": part, "through": through}) for part in parts]
    ends = [Ends(one["reasons"], one["seen"], one["counts"]) for one in made]
    whole = accounts_of(feed, of_files, set_aside, REFERENCES, ends)
    records = pl.concat([one["records"] for one in made]).sort(key_columns(FEED_TABLES[feed]))
    fates = pl.concat([one["fates"] for one in made])
    accounted = Accounted(
        whole.set_aside,
        whole.accounts,
        whole.through_date,
        records,
        pl.int_range(records.height, dtype=pl.UInt32, eager=True),
        fates,
    )
    return accounted, sum(part.height > 0 for part in parts)


@pytest.mark.drawn
@settings(max_examples=examples(60), deadline=None)
@given(FILES, st.integers(1, 5))
def test_calls_in_parts_are_those_of_one(drawn, count):
    """Claims that several calls hold, late versions and rows that nothing knows among them."""
    files = {path: (day, file) for path, day, file in call_files(drawn)}
    done, _ = in_parts("service_calls", files, count)
    whole = account("service_calls", *gather(files), REFERENCES)
    assert state(done) == state(whole)


def test_a_claim_of_calls_in_different_parts_is_held_once():
    """Each of eight calls names the one claim: the first keeps it, in whatever part it would be."""
    lines = ["call,claim,serial,kind,opened_on,cause"]
    lines += [f"{n},C1,S,repair,2024-01-0{n},X" for n in range(1, 9)]
    lines += [f"{n},,S,repair,2024-02-01,X" for n in range(20, 40)]
    files = {"calls.csv": (None, parsed("service_calls", "\n".join(lines) + "\n"))}
    done, filled = in_parts("service_calls", files, 4)
    assert filled > 1
    assert done.records.filter(pl.col("claim").is_not_null())["call"].to_list() == ["1"]
    assert done.set_aside["rule"].to_list() == ["claim_once"] * 7
    assert state(done) == state(account("service_calls", *gather(files), REFERENCES))


def test_samples_in_parts_keep_their_results_together(tmp_path):
    """Results of a sample are lines of their own; a part has all of them."""
    path = tmp_path / "water_tests.toml"
    path.write_text('layout = "long"\n', encoding="utf-8")
    lines = ["sample,site,sampled_on,point,analyte,value,unit"]
    for number in range(12):
        for analyte, value in (("ph", "7.1"), ("chloride_mg_l", "20")):
            lines.append(f"S{number:02},W,2024-01-{number + 1:02},supply,{analyte},{value},")
    text = "\n".join(lines) + "\n"
    files = {"w.csv": (None, parsed("water_tests", text, load_mapping(path, "water_tests")))}
    done, filled = in_parts("water_tests", files, 3)
    assert filled == 3
    assert done.records.select("ph", "chloride_mg_l").rows() == [(7.1, 20.0)] * 12
    assert state(done) == state(account("water_tests", *gather(files), REFERENCES))


def test_parts_are_as_many_as_asked_for_else_by_rows():
    """A part has a million rows at most, and an empty feed is one."""
    with duckdb.connect() as con:
        con.execute("create table parsed_units as select 'S' as serial from range(2000001)")
        con.execute("create table parsed_rulings (claim varchar)")
        assert number_of_row_parts(con, "units") == 3
        assert number_of_row_parts(con, "units", 7) == 7
        assert number_of_row_parts(con, "rulings") == 1
