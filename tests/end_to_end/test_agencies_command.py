"""`limeledger agencies` on the sample: what is planted is flagged, and worded as a question."""

from __future__ import annotations

import io
import re

import polars as pl

from sample_data.stories import STORIES


def test_the_planted_agency_is_flagged_for_repairs_that_come_back(sample, run) -> None:
    """Corvendale and no other; at a rate of 10 % not even one false flag is expected here.

    With one true flag, a rate of 10 % lets 0.11 false ones be expected beside it.
    """
    told = pl.DataFrame(run("agencies", sample[0], "--json").json, infer_schema_length=None)
    returns = told.filter(pl.col("measure") == "returns")
    assert returns.filter("flagged")["agency"].to_list() == [STORIES["repairs_come_back"]["agency"]]
    row = returns.filter("flagged").row(0, named=True)
    assert row["ratio"] > row["funnel_998_high"] > row["funnel_95_high"] > 1
    assert row["low"] < row["value"] < row["high"]
    assert row["q_value"] < 0.001


def test_the_planted_hours_are_flagged_and_nothing_else_is(sample, run) -> None:
    """Lanthorne for hours; travel and documents, which nothing is planted in, flag nobody."""
    told = pl.DataFrame(run("agencies", sample[0], "--json").json, infer_schema_length=None)
    flagged = told.filter(pl.col("flagged") & (pl.col("measure") != "returns"))
    agency = STORIES["long_hours"]["agency"]
    assert flagged.select("agency", "measure").rows() == [(agency, "labor_hours")]


def test_it_speaks_in_questions_and_in_csv(sample, run) -> None:
    """Sentences ask and do not blame; the CSV is the published table."""
    said = run("agencies", sample[0])
    assert said.code == 0
    assert re.search(r"CORVENDALE: \d+ of \d+ repairs that were followed", said.out)
    assert "a reason to ask, and no finding against anyone" in said.out
    for word in ("blame", "fault", "guilty", "cheat", "suspicious"):
        assert word not in said.out.lower()
    table = pl.read_csv(io.StringIO(run("agencies", sample[0], "--csv").out))
    published = pl.read_csv(sample[0] / "published" / "data" / "agency_figures.csv")
    assert table.select("agency", "measure", "flagged").equals(
        published.select("agency", "measure", "flagged")
    )


def test_it_wants_a_refresh_first(unrefreshed, run) -> None:
    """Before the first refresh it says what to do, without a traceback."""
    said = run("agencies", unrefreshed)
    assert said.code == 2
    assert "limeledger refresh" in said.err
