"""The checks of a night in one table: each with what was found and whether it is as usual."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.nightly import checks
from pipelines.nightly.checks import night_checks
from pipelines.nightly.laboratories import DRIFT
from schemas.accounts import NightChecks
from schemas.columns import polars_schema
from schemas.feeds import WaterTests

DAY = dt.date(2026, 3, 31)
FEEDS = pl.DataFrame(
    {
        "feed": ["service_calls", "units", "rulings"],
        "through_date": [dt.date(2026, 3, 28), None, None],
        "stale": [False, True, False],
        "rows_read": [100, 50, 0],
        "set_aside_share": [0.25, 0.0, 0.0],
        "beyond_tolerance": [True, False, False],
    }
)
TESTS = polars_schema(WaterTests).to_frame()


def claims(*per_week: int) -> pl.DataFrame:
    """Claims filed in the weeks that end on 28 March, the last week first."""
    days = [
        dt.date(2026, 3, 28) - dt.timedelta(days=7 * week)
        for week, count in enumerate(per_week)
        for _ in range(count)
    ]
    filed = pl.Series("claimed_on", days, dtype=pl.Date)
    return pl.DataFrame({"claim": [f"C{n}" for n in range(len(days))]}).with_columns(
        filed, opened_on=pl.lit(dt.date(2020, 1, 1))
    )


def checked(decisions: pl.DataFrame) -> pl.DataFrame:
    """The checks, which fit their class."""
    found = night_checks(FEEDS, decisions, TESTS, DAY, 45, 0.1)
    NightChecks.validate(found)
    return found


def test_feeds_are_told_with_their_days_and_shares():
    """A feed without rows or day is not looked at; one complete to no day is stale."""
    found = checked(claims()).filter(pl.col("check") != "claim_count")
    assert found.select("check", "subject", "passed", "observed", "high").rows() == [
        ("freshness", "service_calls", True, 3.0, 45.0),
        ("freshness", "units", False, None, 45.0),
        ("set_aside_share", "service_calls", False, 0.25, 0.1),
        ("set_aside_share", "units", True, 0.0, 0.1),
    ]
    assert found["sentence"].to_list() == [
        "service_calls is complete to 2026-03-28; 45 days are allowed.",
        "units is complete to no day; 45 days are allowed.",
        "25.0 % of the rows of service_calls are set aside; 10.0 % are allowed.",
        "0.0 % of the rows of units are set aside; 10.0 % are allowed.",
    ]


def test_a_week_of_claims_is_compared_with_those_before_the_through_date():
    """Three times as many warn, none at all warn, as many as usual do not."""
    for last, passed in ((60, False), (0, False), (21, True)):
        row = checked(claims(last, *([20, 24, 17, 19, 22] * 3), 20)).filter(
            pl.col("check") == "claim_count"
        )
        assert row["passed"].to_list() == [passed], last
        assert row["observed"][0] == last
        assert f"{last} claims were filed in the week to 2026-03-28;" in row["sentence"][0]


def test_too_little_known_is_neither_passed_nor_failed():
    """No claims at all, and a few weeks of them."""
    for decisions in (claims(), claims(3, 2, 4)):
        row = checked(decisions).filter(pl.col("check") == "claim_count")
        assert row["passed"].to_list() == [None]
        assert "too few to compare" in row["sentence"][0]


def test_checks_stand_in_one_order_however_the_feeds_come():
    """By check, then by subject."""
    turned = night_checks(FEEDS.reverse(), claims(), TESTS, DAY, 45, 0.1)
    assert turned.equals(checked(claims()))
    keys = turned.select("check", "subject").rows()
    assert keys == sorted(keys)
    assert len(keys) == 5


def test_a_laboratory_that_drifts_has_not_passed(monkeypatch: pytest.MonkeyPatch):
    """One whose values moved, and one whose values stay; the sentence tells both medians."""
    row = {"analyte": "ph", "recent": 9, "before": 40, "recent_median": 7.12345,
           "before_median": 7.8, "z": -4.321, "q_value": 0.00012}  # fmt: skip
    rows = [row | {"lab": lab, "drifted": drifted} for lab, drifted in (("A", True), ("B", False))]
    drift = pl.DataFrame(rows).select(DRIFT.names()).cast(DRIFT)
    monkeypatch.setattr(checks, "laboratory_drift", lambda *_: drift)
    found = checked(claims()).filter(pl.col("check") == "laboratory_values")
    assert found.select("subject", "passed", "observed").rows() == [
        ("A: ph", False, 7.12345), ("B: ph", True, 7.12345),
    ]  # fmt: skip
    assert found["sentence"][0].startswith(
        "The median ph of A is 7.123 in its last 9 tests and was 7.8 in the 40 before "
        "(z -4.3, q 0.0001); another unit,"
    )
