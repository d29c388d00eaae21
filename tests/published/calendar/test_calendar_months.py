"""Adding calendar months against python-dateutil and forty worked cases.

Source of the cases: reference cases on which python-dateutil's `relativedelta`, DuckDB's
`DATE + INTERVAL n MONTH` and polars' `dt.offset_by` were found to agree (month_add_cases.csv and
month_add_stepwise_cases.csv beside this file). The second reference is python-dateutil itself.
"""

from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.coverage.calendar_days import FAR_AWAY, add_days, add_months, add_months_array

FOLDER = Path(__file__).parent
CASES = pl.read_csv(FOLDER / "month_add_cases.csv", try_parse_dates=True)
DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2100, 12, 31))


def test_the_forty_cases_agree_in_both_forms():
    """As an expression and as an array; clamped, leap years, backwards, zero."""
    assert CASES.height == 40
    found = CASES.select(add_months(pl.col("start"), pl.col("months"))).to_series()
    assert found.to_list() == CASES.get_column("expected").to_list()
    array = add_months_array(
        CASES.get_column("start").to_numpy().astype("datetime64[D]"),
        CASES.get_column("months").to_numpy(),
    )
    assert pl.Series(array, dtype=pl.Date).to_list() == CASES.get_column("expected").to_list()


def test_several_months_are_one_step_and_not_a_chain():
    """The stepwise results differ, and ours is the single addition."""
    steps = pl.read_csv(FOLDER / "month_add_stepwise_cases.csv", try_parse_dates=True)
    months = [sum(map(int, row.split("+"))) for row in steps.get_column("steps")]
    found = steps.select(
        add_months(pl.col("start"), pl.Series("months", months)).alias("found"),
        "expected_single_addition",
        "stepwise_result",
    )
    assert found.get_column("found").to_list() == (
        steps.get_column("expected_single_addition").to_list()
    )
    assert (found.get_column("found") != found.get_column("stepwise_result")).all()


def test_months_completed_are_those_whose_anniversary_has_come():
    """The largest number of months that ends by a day, in cases where month counts go wrong.

    Source: months_completed_cases.csv, on which DuckDB's `date_sub` and python-dateutil agree.
    """
    cases = pl.read_csv(FOLDER / "months_completed_cases.csv", try_parse_dates=True)
    for months in range(-1, 2):
        ends = cases.select(
            add_months(pl.col("start"), pl.col("expected_completed_months") + months)
        )
        reached = ends.to_series() <= cases["end"]
        assert reached.all() if months < 1 else not reached.any()


@given(st.lists(st.tuples(DAYS, st.integers(-240, 240)), min_size=1, max_size=20))
@settings(deadline=None)
def test_both_forms_agree_with_dateutil(cases):
    """Any start from 1990 to 2100, twenty years forth and back."""
    expected = [start + relativedelta(months=months) for start, months in cases]
    frame = pl.DataFrame(cases, schema={"start": pl.Date, "months": pl.Int64}, orient="row")
    assert frame.select(add_months(pl.col("start"), pl.col("months"))).to_series().to_list() == (
        expected
    )
    array = add_months_array(
        frame.get_column("start").to_numpy().astype("datetime64[D]"),
        frame.get_column("months").to_numpy(),
    )
    assert pl.Series(array, dtype=pl.Date).to_list() == expected


def test_missing_dates_stay_missing_and_stock_without_end_stops_far_away():
    """Null in, null out; countless cartridges last no longer than dates can hold."""
    nothing = pl.DataFrame({"day": [None], "n": [1]}, schema={"day": pl.Date, "n": pl.Int64})
    found = nothing.select(
        months=add_months(pl.col("day"), pl.col("n")), days=add_days(pl.col("day"), pl.col("n"))
    )
    assert found.row(0) == (None, None)
    start = np.array(["2024-01-31"], dtype="datetime64[D]")
    assert add_months_array(start, np.array([10**9]))[0] <= FAR_AWAY + 31
