"""Early warning: what is expected, when it alarms, and how long it keeps quiet."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipelines.field import cusum
from pipelines.field.alarms import alarms
from pipelines.field.dimensions import BAND_STARTS
from pipelines.field.early_warning import chart, warnings

WHOLE = np.ones(60)


def test_expected_is_by_age_over_the_24_months_that_end_three_before(context) -> None:
    """One pair and month worked out day by day: the rate of each band times this month's days."""
    month, family, cause_class = dt.date(2025, 6, 1), "Beck", "scale"
    row = (
        warnings(context)
        .filter(family=family, cause_class=cause_class, month=month)
        .row(0, named=True)
    )
    alarmed = (
        warnings(context)
        .filter(family=family, cause_class=cause_class, alarm=True)["month"]
        .to_list()
    )
    days = (
        context.units.filter(pl.col("family") == family, pl.col("watched_days") > 0)
        .select(
            start="watched_from", day=pl.date_ranges("watched_from", "watched_until", closed="left")
        )
        .explode("day")
    )
    failed = context.failures.filter(family=family, cause_class=cause_class).select(
        start=pl.col("failed_on") - pl.duration(days="age"), day="failed_on"
    )

    def by_band(frame: pl.DataFrame, begin: dt.date, end: dt.date) -> list[int]:
        inside = frame.filter(
            pl.col("day").is_between(begin, end, closed="left"),
            ~pl.col("day").dt.truncate("1mo").is_in(alarmed),
        )
        ages = inside.select((pl.col("day") - pl.col("start")).dt.total_days()).to_series()
        edges = [*BAND_STARTS, 10**6]
        return [int(((ages >= a) & (ages < b)).sum()) for a, b in pairwise(edges)]

    window = dt.date(2023, 3, 1), dt.date(2025, 3, 1)
    under, happened = by_band(days, *window), by_band(failed, *window)
    now = by_band(days, month, dt.date(2025, 7, 1))
    assert sum(happened) > 5
    rates = [
        n / d if d else sum(happened) / sum(under) for n, d in zip(happened, under, strict=True)
    ]
    expected = sum(n * rate for n, rate in zip(now, rates, strict=True))
    assert row["expected"] == pytest.approx(expected * row["completeness"])
    assert 0.9 < row["completeness"] <= 1


def test_the_class_unknown_is_not_watched(context) -> None:
    """Its failures are those whose calls are not completed, and their rise is no news."""
    assert context.failures["cause_class"].eq("unknown").any()
    assert set(warnings(context)["cause_class"]) == {"scale", "chlorine", "electrical"}


def test_false_alarms_are_told_over_all_pairs(context) -> None:
    """At most one a year: 12 x the sum of 1 / run length of the pairs of a month."""
    table = warnings(context).drop_nulls("expected")
    pairs = table.select("family", "cause_class").unique().height
    assert table.filter(pl.col("average_run_length") < 12 * pairs).is_empty()
    for (month,), rows in table.group_by("month"):
        yearly = 12 * (1 / rows["average_run_length"]).sum()
        assert rows["false_alarms_a_year"].to_list() == pytest.approx([yearly] * rows.height), month
        assert yearly <= 1


def test_a_doubled_rate_alarms_within_months(make_fleet) -> None:
    """Failures of one class that treble in the last months raise an alarm that still stands."""
    context = make_fleet(1500, seed=4)
    late = context.failures.filter(
        (pl.col("failed_on") >= dt.date(2025, 6, 1)) & (pl.col("cause_class") == "scale")
    )
    more = [late.with_columns(call=pl.col("call") + end) for end in "bc"]
    table = alarms(replace(context, failures=pl.concat([context.failures, *more])))
    standing = table.filter("standing", ~pl.col("thin"))
    assert set(standing["cause_class"]) == {"scale"}
    assert standing.height == 2  # both families
    for row in standing.iter_rows(named=True):
        assert row["began"] <= row["first_month"] <= row["last_month"]
        assert row["ratio"] == pytest.approx(row["failures"] / row["expected"])
        assert row["low"] < row["ratio"] < row["high"]
        failed = pl.concat([context.failures, *more]).filter(
            pl.col("family") == row["family"],
            pl.col("cause_class") == "scale",
            pl.col("failed_on") >= row["first_month"],
            pl.col("failed_on") < row["last_month"] + dt.timedelta(days=31),
        )
        assert abs(failed.height - row["failures"]) <= 2  # the last month may have fewer days


def _chart(counts: list[int], days: list[int]):
    """The chart of one pair in one band."""
    return chart(
        np.array(days, dtype=float).reshape(1, 1, -1),
        np.array(counts, dtype=float).reshape(1, 1, -1),
        WHOLE[: len(days)],
        200,
    )


def test_a_rise_goes_on_over_a_month_that_is_not_charted() -> None:
    """It began after the month in which the sum last stood at 0, a month without days included."""
    counts, days = [1] * 30 + [5, 0, 9], [1800] * 31 + [0, 1800]
    path = _chart(counts, days)
    assert path.sums[0, 29] == 0 < path.sums[0, 30] < path.decision[0, 30]
    assert path.alarm[0].tolist() == [False] * 32 + [True]
    assert path.rise[0, 32] == 2


def test_a_decision_value_that_falls_below_the_sum_is_no_alarm() -> None:
    """Two failures of sixty units stay below; with three units left, no quiet month alarms."""
    counts, days = [0] * 30, [1800] * 30
    counts[8] = counts[15] = 1
    counts[20] = 2
    days[21:] = [90] * 9
    path = _chart(counts, days)
    overtaken = path.sums[0, 21:] >= path.decision[0, 21:]
    assert overtaken.any()
    assert not path.alarm.any()
    counts[29] = 2
    assert _chart(counts, days).alarm[0].tolist() == [False] * 29 + [True]


def test_months_in_alarm_do_not_raise_what_is_expected() -> None:
    """After a burst the rate is that of the quiet months."""
    counts = [1, 2] * 12 + [12] * 4 + [1, 2] * 6
    path = _chart(counts, [1800] * 40)
    assert path.alarm[0, 24:28].any()
    quiet = [month for month in range(40) if not path.alarm[0, month]]
    window = [month for month in quiet if 39 - 27 <= month < 39 - 3]
    assert path.expected[0, 39] == pytest.approx(np.mean([counts[month] for month in window]))


def test_twelve_months_are_needed_three_months_before() -> None:
    """The sixteenth month of a fleet is the first that is charted."""
    path = _chart([1] * 20, [1800] * 20)
    assert np.isfinite(path.expected[0]).tolist() == [False] * 15 + [True] * 5


@pytest.mark.parametrize("expected", [0.004, 0.05, 0.3, 1.0, 4.2, 27.0, 180.0])
@pytest.mark.parametrize("target", [200, 576])
def test_a_design_keeps_quiet_as_long_as_asked(expected: float, target: float) -> None:
    """At every size the run length is at least the target, and a rise shortens it by much."""
    reference, decision = cusum.design(expected, target)
    length = cusum.average_run_length(expected, reference, decision)
    assert length >= target
    assert expected < reference
    raised = expected + max(0.2 * expected, 1.5 * np.sqrt(expected))
    assert cusum.average_run_length(raised, reference, decision) < length / 4


@pytest.mark.parametrize(("mean", "k", "q"), [(1.1, 8, 4), (0.05, 5, 50), (20.0, 24, 1)])
def test_the_decision_value_is_the_smallest(mean: float, k: int, q: int) -> None:
    """One value less falls short of the target; the run length is that of the chain by itself."""
    h, length = cusum.smallest_decision(mean, k, q, 300)
    assert length == pytest.approx(cusum.average_run_length(mean, k / q, h / q), rel=1e-9)
    assert length >= 300 > cusum.average_run_length(mean, k / q, (h - 1) / q)


def test_a_run_length_by_simulation() -> None:
    """Four thousand charts of one mean alarm after as many months as the chain says."""
    random = np.random.default_rng(2)
    counts = random.poisson(2.0, (4000, 400)).astype(float)
    sums = cusum.path(counts, np.full(counts.shape, 2.5))
    alarmed = sums >= 5
    first = np.where(alarmed.any(axis=1), alarmed.argmax(axis=1) + 1, 400)
    expected = cusum.average_run_length(2.0, 2.5, 5)
    assert first.mean() == pytest.approx(expected, rel=0.05)
