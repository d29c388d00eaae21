"""Cohorts' mean counts against the published valve seats, and against the definition by hand.

Source: Nelson's valve seats of 41 diesel engines (Nelson & Doganaksoy 1989; Meeker & Escobar,
Statistical Methods for Reliability Data, example 16.1), with robust errors as in R
package survival 3.8-6; beside the data in this folder.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines.field.cohorts import cohorts
from pipelines.field.context import HISTORY_COLUMNS, FieldContext
from pipelines.field.preparation import prepare

HERE = Path(__file__).parent
AS_OF = dt.date(2025, 12, 31)
MONTH_DAYS = 30.4375
STARTS = {"2021-Q1": dt.date(2021, 2, 3), "2022-Q3": dt.date(2022, 8, 14)}
Z_95 = 1.959963984540054


def engines_in(quarter_of: Callable[[int], list[str]]) -> FieldContext:
    """The engines, each a unit in the quarters that `quarter_of` its place gives."""
    rows = pl.read_csv(HERE / "mcf_valve_seat.csv")
    ends = rows.filter(pl.col("is_replacement") == 0).sort("engine")
    units, calls = [], []
    for place, (engine, last, _) in enumerate(ends.iter_rows()):
        own = rows.filter((pl.col("engine") == engine) & (pl.col("is_replacement") == 1))
        for quarter in quarter_of(place):
            serial, start = f"{engine} {quarter}", STARTS[quarter]
            units.append((serial, start, start + dt.timedelta(days=last), last))
            calls += [(serial, start + dt.timedelta(days=day), day) for day in own["day"]]
    names = ["serial", "watched_from", "watched_until", "watched_days"]
    histories = pl.DataFrame(units, schema=names, orient="row").with_columns(
        family=pl.lit("Beck"),
        region=pl.lit("US-ME"),
        water_profile=pl.lit("untested"),
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit(None, pl.String),
        coverage_base_end="watched_until",
        coverage_end="watched_until",
        shipped_on="watched_from",
        clock_start="watched_from",
        **dict.fromkeys(
            ("startup_completed_on", "extended_on", "retired_on"), pl.lit(None, pl.Date)
        ),
        **dict.fromkeys(
            ("model", "cold_supply", "entry", "shipped", "lot"), pl.lit(None, pl.String)
        ),
        needs=pl.lit([], pl.List(pl.String)),
    )
    failures = pl.DataFrame(calls, schema=["serial", "failed_on", "age"], orient="row")
    failures = failures.with_columns(
        call=pl.format("C{}", pl.int_range(pl.len())),
        claim=pl.lit(None, pl.String),
        cause=pl.lit("SEAT"),
        cause_class=pl.lit("mechanical"),
        water_related=pl.lit(False),
        opened_on="failed_on",
        claimed_on=pl.lit(None, pl.Date),
        agency=pl.lit("A1"),
        labor_hours=pl.lit(None, pl.Float64),
    )
    money = {f"{line}_payable": pl.Decimal(18, 2) for line in ("parts", "labor", "travel")}
    return prepare(
        histories.select("serial", *HISTORY_COLUMNS),
        failures,
        pl.DataFrame(schema={"claim": pl.String} | money),
        histories.select(
            "serial", from_day="watched_from", until_day="watched_until", state=pl.lit("untreated")
        ),
        pl.DataFrame(
            schema={
                "serial": pl.String,
                "unsound": pl.String,
                "days": pl.Int64,
                "failures": pl.Int64,
            }
        ),
        AS_OF,
    )


def test_each_of_two_cohorts_agrees_with_the_published_curve() -> None:
    """All engines stand in both quarters: each alone is the published set."""
    table = cohorts(engines_in(lambda place: list(STARTS)), ()).filter(pl.col("event") == "any")
    published = pl.read_csv(HERE / "mcf_valve_seat_expected.csv")
    assert set(table["cohort"]) == set(STARTS)
    seen = 0
    for row in table.iter_rows(named=True):
        before = published.filter(pl.col("day") <= row["months"] * MONTH_DAYS)
        if before.is_empty():
            assert (row["mean_per_100"], row["mean_low"]) == (0, None)
            continue
        mean, error = before.row(-1, named=True)["mcf"], before.row(-1, named=True)["se_robust"]
        assert row["mean_per_100"] == pytest.approx(100 * mean, rel=1e-9)
        width = np.exp(Z_95 * error / mean)
        assert row["mean_low"] == pytest.approx(100 * mean / width, rel=1e-9)
        assert row["mean_high"] == pytest.approx(100 * mean * width, rel=1e-9)
        assert row["failures"] == before["n_event"].sum()
        assert not row["immature"]
        assert row["completed_per_100"] is None
        seen += 1
    assert seen > 30


def test_engines_split_into_two_cohorts_agree_with_the_sum_by_hand() -> None:
    """Σ failures / engines at risk over the ages up to m, over each half's own engines."""
    halves = list(STARTS)
    table = cohorts(engines_in(lambda place: [halves[place % 2]]), ())
    rows = pl.read_csv(HERE / "mcf_valve_seat.csv")
    ends = rows.filter(pl.col("is_replacement") == 0).sort("engine")
    checked = 0
    for half, cohort in enumerate(halves):
        own = ends[half::2]
        days = own["day"].to_list()
        events = rows.filter(
            (pl.col("is_replacement") == 1) & pl.col("engine").is_in(own["engine"].implode())
        )["day"].to_list()
        cells = table.filter((pl.col("cohort") == cohort) & (pl.col("event") == "any"))
        for row in cells.iter_rows(named=True):
            end = row["months"] * MONTH_DAYS
            mean = sum(1 / sum(day >= age for day in days) for age in events if age <= end)
            at_risk = sum(day >= end for day in days)
            assert row["units"] == len(days)
            assert row["at_risk"] == at_risk
            assert row["mean_per_100"] == pytest.approx(100 * mean, abs=1e-9)
            enough = at_risk >= 20 and at_risk >= 0.05 * len(days)
            assert row["shown"] == enough
            checked += 1
    assert checked > 40
