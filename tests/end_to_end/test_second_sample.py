"""The second sample company: exports never made for the tool, read by mappings alone."""

from __future__ import annotations

import tomllib
from decimal import Decimal

import polars as pl
import pytest

import sample_data.second as second

ENDS = ("records", "superseded", "duplicates", "set_aside", "left_out", "joined", "rows_split")


@pytest.fixture(scope="module")
def truth():
    """What its generator, which does not know the tool, says must become of its rows."""
    path = next(iter(second.__path__)) + "/truth.toml"
    with open(path, "rb") as file:
        return tomllib.load(file)


def test_the_company_refreshes_to_what_is_true_of_it(tmp_path, run, no_figures, truth):
    """Every row of every feed ends as it must; sums of money and hours are exact."""
    folder = tmp_path / "quellmoor"
    assert run("new", folder, "--demo-mappings").code == 0
    told = run("refresh", folder, "--as-of", second.AS_OF.isoformat(), "--json")
    assert told.code == 0, told.err
    assert ", 6 set aside, 139 left out, 534 joined, 28 added by splitting." in told.err
    assert (told.json["left_out"], told.json["joined"], told.json["rows_split"]) == (139, 534, 28)
    accounts = pl.read_parquet(folder / "published/data/row_accounts.parquet")
    by_feed = accounts.group_by("feed").agg(pl.col("rows_read", *ENDS).sum())
    found = {
        row["feed"]: {name: n for name, n in row.items() if n and name != "feed"}
        for row in by_feed.iter_rows(named=True)
        if row["feed"]
    }
    sums = {name: Decimal(text) for name, text in truth["sums"].items()}
    assert found == {feed: counts for feed, counts in truth.items() if feed != "sums"}
    calls = pl.read_parquet(folder / "published/data/service_calls.parquet")
    for name in ("parts_amount", "labor_hours", "travel_amount"):
        assert calls[name].sum() == sums[name], name
    credits = pl.read_parquet(folder / "published/data/credits.parquet")
    assert credits["parts_amount"].sum() == sums["credited_parts"]
    joins = pl.read_parquet(folder / "published/data/joins.parquet").filter(pl.col("rows") > 0)
    assert joins.height > 6
    assert not joins["below"].any()
    tests = pl.read_parquet(folder / "published/data/water_tests.parquet")
    # A calcium of 40.1 mg/L as Ca is 100.1 as CaCO3; a degree of German hardness is 17.848 mg/L.
    ratio = tests.select(pl.col("hardness_mg_l_caco3") / pl.col("calcium_mg_l_caco3")).to_series()
    assert ratio.is_between(1.1, 1.35).all()
    startups = pl.read_parquet(folder / "published/data/startups.parquet")
    assert startups["static_pressure_psi"].is_between(40, 90).all()
    assert startups["drain_air_gap_in"].drop_nulls().is_between(1.1, 2.5).all()
    # Its list says that a membrane removes chloramine, and nothing else does.
    advised = pl.read_parquet(folder / "published/data/treatment_recommendations.parquet")
    unserved = advised.filter(pl.col("state") == "nothing_serves")
    assert unserved.height > 0
    assert unserved["unmet"].to_list() == [["chloramine"]] * unserved.height


def test_the_committed_exports_are_those_of_the_generator(tmp_path):
    """Text files are the same to the byte; a workbook's packing is its library's."""
    from sample_data.second import generate

    generate.write(tmp_path)
    there = {name: text for name, text in second.workspace_files().items() if name[:7] == "exports"}
    paths = sorted(path for path in tmp_path.rglob("*") if path.is_file())
    assert len(paths) == len(there) == 8
    for path in paths:
        if path.suffix != ".xlsx":
            assert path.read_bytes() == there[path.relative_to(tmp_path).as_posix()], path
