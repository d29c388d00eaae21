"""Clock starts that are guessed or left out, failures still to be reported, and quarters."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from pipelines.field.cohorts import _Cells, cohorts
from pipelines.field.context import FieldContext
from pipelines.field.figures import figure
from pipelines.field.reporting_lag import lag_law, share_reported, triangle
from pipelines.field.risk_sets import MONTH_AGES
from pipelines.field.sensitivity import _with_rate
from pipelines.field.slices import NO_EXPOSURE

DAY = dt.date(2025, 1, 31)


def days_before(*days: int) -> pl.Series:
    return pl.Series([DAY - dt.timedelta(days=int(n)) for n in days], dtype=pl.Date)


def test_a_triangle_holds_what_could_have_been_seen() -> None:
    """Rows from the oldest day to the as-of date, columns by lag in days, NaN for the future."""
    cells = triangle(days_before(2, 2, 1, 0), days_before(2, 1, 1, 0), DAY, 1)
    expected = np.array([[1, 2, 2], [1, 1, np.nan], [1, np.nan, np.nan]])
    np.testing.assert_array_equal(cells, expected)


def test_a_week_counts_once_all_its_lags_have_been_seen() -> None:
    """By weeks, the latest one lacks days and is left out."""
    cells = triangle(days_before(20, 13, 8, 3), days_before(20, 5, 8, 3), DAY, 7)
    expected = np.array([[1, 1, np.nan], [1, np.nan, np.nan]])
    np.testing.assert_array_equal(cells, expected)


def test_the_law_of_a_lag_by_hand() -> None:
    """Ten failures long ago, half reported at once and half a day later."""
    happened = days_before(*[100] * 10)
    reported = days_before(*[100] * 5, *[99] * 5)
    law = lag_law(happened, reported, DAY)
    assert share_reported(law, np.array([-1, 0, 1, 400])).tolist() == [0, 0.5, 1, 1]


def test_late_reports_are_completed_to_what_happened() -> None:
    """With steady failures and a lag of 10 days on average, completing gives the lost ones back."""
    random = np.random.default_rng(5)
    ago = np.repeat(np.arange(400), 20)
    lag = random.geometric(0.1, len(ago)) - 1
    seen = lag <= ago
    happened, reported = days_before(*ago[seen]), days_before(*(ago - lag)[seen])
    law = lag_law(happened, reported, DAY)
    recent = ago[seen & (ago >= 3) & (ago < 30)]
    assert (1 / share_reported(law, recent)).sum() == pytest.approx(27 * 20, rel=0.06)
    assert len(recent) < 0.8 * 27 * 20


def quarter_of(table: pl.DataFrame, cohort: str, months: int) -> dict:
    cells = table.filter(cohort=cohort, months=months, event="any")
    assert cells.height == 1
    return cells.row(0, named=True)


def test_a_mature_quarter_is_complete(context: FieldContext) -> None:
    """Failures over units still at risk, age by age; nothing is left to complete."""
    row = quarter_of(cohorts(context, ()), "2023-Q1", 12)
    entered = context.units.filter(
        pl.col("watched_from").is_between(dt.date(2023, 1, 1), dt.date(2023, 3, 31))
    )
    failures = context.failures.join(entered, on="unit", how="semi")
    ages = failures.filter(pl.col("age") <= 12 * 30.4375)["age"].to_list()
    days = entered["watched_days"].to_list()
    assert (row["units"], row["failures"]) == (entered.height, len(ages))
    mean = sum(1 / sum(length >= age for length in days) for age in ages)
    assert row["mean_per_100"] == pytest.approx(100 * mean)
    assert row["mean_low"] < row["mean_per_100"] < row["mean_high"]
    assert not row["immature"]
    assert row["completed_per_100"] is None


def test_a_young_quarter_is_marked_and_completed(make_fleet) -> None:
    """Where calls may still come, each failure counts for those of its age that have not."""
    context = make_fleet(2000, seed=8, rate=2.0)
    table = cohorts(context, ())
    young = table.filter(cohort="2025-Q3", event="any").drop_nulls("mean_per_100").sort("months")
    assert young["months"].max() == 4
    row = young.row(2, named=True)
    assert row["immature"]
    assert row["completed_per_100"] > row["mean_per_100"]
    assert row["completed_low"] < row["completed_per_100"] < row["completed_high"]
    old = quarter_of(table, "2023-Q3", row["months"])
    assert not old["immature"]
    assert row["completed_low"] < old["mean_per_100"] * 1.3
    assert row["completed_high"] > old["mean_per_100"] * 0.7


def test_immature_are_the_ages_at_which_a_call_may_still_come(make_fleet) -> None:
    """Age and the lag's 95th percentile reach past the as-of date for a unit that was so old."""
    context = make_fleet(2000, seed=8, rate=2.0)
    failures = context.failures
    law = lag_law(failures["failed_on"], failures["opened_on"], context.as_of)
    within = int(np.searchsorted(law, 0.95))
    assert within > 5
    table = cohorts(context, ()).filter(event="any")
    kinds = set()
    for (cohort,), cells in table.group_by("cohort"):
        year, quarter = int(cohort[:4]), int(cohort[-1])
        own = context.units.filter(
            (pl.col("watched_from").dt.year() == year)
            & (pl.col("watched_from").dt.quarter() == quarter)
        ).select("watched_from", "watched_days")
        earliest = min(
            (
                age
                for start, days in own.iter_rows()
                for age in range(max(0, days - within - 1), days + 1)
                if start + dt.timedelta(days=age + within) > context.as_of
            ),
            default=10_000,
        )
        for row in cells.iter_rows(named=True):
            assert row["immature"] == (earliest <= int(row["months"] * 30.4375))
            kinds.add(row["immature"])
    assert kinds == {True, False}


def test_an_age_is_immature_from_the_first_day_whose_calls_may_be_out() -> None:
    """Calls are in after two days: those for yesterday are not, those for the day before are."""
    law, today = np.array([0.5, 0.9, 0.95, 1.0]), 1000
    # Yesterday the units were 30, 31 and 31 days old; the third had left at the age of 10.
    entered = np.array([today - 31, today - 32, today - 32])
    cells = SimpleNamespace(
        _today=today,
        quarters=SimpleNamespace(
            entered_on=entered,
            episodes=SimpleNamespace(
                unit=np.arange(3), group=np.arange(3), exit=np.array([31, 32, 10])
            ),
            groups=pl.DataFrame({"cohort": ["a", "b", "c"]}),
        ),
    )
    immature = _Cells._immature(cells, law)
    assert MONTH_AGES[:3].tolist() == [0, 30, 60]
    assert immature[:, :3].tolist() == [
        [False, True, True],
        [False, False, True],
        [False, False, False],
    ]


def test_clock_starts_by_region(context: FieldContext) -> None:
    """Guessed ones are counted among the watched, unsound ones beside them with their reason."""
    first = context.units["unit"].to_list()[:3]
    unsound = replace(
        context,
        units=context.units.with_columns(
            unsound=pl.when(pl.col("unit").is_in(first)).then(pl.lit("retired before it started")),
            watched_days=pl.when(pl.col("unit").is_in(first)).then(0).otherwise("watched_days"),
        ),
    )
    table = figure(unsound, "clock_starts", ())
    whole = table.row(0, named=True)
    assert (whole["region"], whole["unsound"]) == ("all", 3)
    assert whole["unsound_reasons"] == "3 retired before it started"
    guessed = unsound.units.filter(
        pl.col("watched_days") > 0, pl.col("clock_source") == "shipped_on"
    ).height
    assert whole["from_shipment"] == guessed
    assert whole["from_shipment_share"] == pytest.approx(guessed / whole["units"])
    parts = table.filter(pl.col("region") != "all")
    assert parts["units"].sum() == whole["units"]
    assert parts["unsound"].sum() == 3


def test_rates_under_other_assumptions(context: FieldContext) -> None:
    """As watched it is the rate itself; the others leave out, add or complete."""
    doubtful = pl.DataFrame(
        {
            "serial": ["X1"],
            "unsound": ["installed before it was shipped"],
            "days": [730],
            "failures": [4],
            "region": ["US-OR"],
        }
    )
    table = figure(replace(context, doubtful=doubtful), "sensitivity", ())
    rate = figure(context, "rates", ()).row(0, named=True)
    rows = {row["assumption"]: row for row in table.filter(pl.col("region") == "all").to_dicts()}
    watched, sure, added, completed = rows.values()
    assert watched["rate_per_100"] == pytest.approx(rate["rate_per_100"])
    assert [watched["low"], watched["high"]] == pytest.approx([rate["low"], rate["high"]])
    guessed = context.units.filter(pl.col("clock_source") == "shipped_on")["serial"].implode()
    known = context.failures.filter(~pl.col("serial").is_in(guessed)).height
    assert sure["failures"] == known < watched["failures"]
    assert added["failures"] == watched["failures"] + 4
    assert added["unit_years"] == pytest.approx(watched["unit_years"] + 730 / 365.25)
    assert completed["failures"] > watched["failures"]
    assert completed["unit_years"] == watched["unit_years"]
    here = table.filter(
        pl.col("region") == "US-OR", pl.col("assumption") == added["assumption"]
    ).row(0, named=True)
    there = table.filter(pl.col("region") == "US-OR").row(0, named=True)
    assert here["units"] == there["units"] + 1


def test_shares_reported_rise_to_one(context: FieldContext) -> None:
    """Each stage's law rises with the days and ends at 1."""
    table = figure(context, "reporting_lags", ())
    for _, stage in table.group_by("stage"):
        shares = stage.sort("days")["share_reported"].to_list()
        assert shares == sorted(shares)
        assert shares[-1] == pytest.approx(1)
    opened = table.filter(pl.col("stage") == "failure to call", pl.col("days") == 7)
    # A geometric lag with chance 0.1: 1 - 0.9^8 are in within 7 days.
    assert opened["share_reported"].item() == pytest.approx(1 - 0.9**8, abs=0.06)


def test_half_a_unit_year_has_a_rate_and_none_has_not() -> None:
    """Two failures in half a unit-year are 400 in 100; without time there is a reason instead."""
    table = pl.DataFrame(
        {"units": [3, None], "unit_years": [0.5, None], "failures": [2.0, None], "thin": [True] * 2}
    )
    some, none = _with_rate(table, 0.0).to_dicts()
    assert some["rate_per_100"] == 400
    # Garwood's limits of a count of 2, of the published tables: 0.242 and 7.225.
    assert (some["low"], some["high"]) == pytest.approx((48.4, 1445), rel=1e-3)
    assert (some["note"], none["rate_per_100"], none["low"]) == (None, None, None)
    assert none["note"] == NO_EXPOSURE
    assert (none["units"], none["failures"]) == (0, 0.0)


def test_the_error_of_the_completion_widens_the_limits_on_the_log_scale() -> None:
    """By hand: ln(0.2422 / 2) = -2.111 and 1.96 x 0.5 = 0.980 are 2.327 together, and so on."""
    table = pl.DataFrame({"units": [3], "unit_years": [0.5], "failures": [2.0], "thin": [True]})
    row = _with_rate(table, 0.5).row(0, named=True)
    assert (row["low"], row["high"]) == pytest.approx((39.0, 2012), rel=2e-3)
