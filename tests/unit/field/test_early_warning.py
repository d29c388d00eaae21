"""Early warning: what is expected, when it alarms, and how long it keeps quiet."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.field import cusum
from pipelines.field.early_warning import chart_months
from pipelines.field.exposure import months_between
from pipelines.field.figures import figure


def test_expected_is_the_trailing_rate_times_the_months_days(context) -> None:
    """Failures of the twelve months before over their unit-days, times this month's."""
    row = (
        figure(context, "warnings", ())
        .filter(pl.col("month") == dt.date(2025, 3, 1))
        .row(0, named=True)
    )

    def watched(begin: dt.date, end: dt.date) -> int:
        overlap = pl.min_horizontal("watched_until", pl.lit(end)) - pl.max_horizontal(
            "watched_from", pl.lit(begin)
        )
        return context.units.select(overlap.dt.total_days().clip(lower_bound=0).sum()).item()

    def failed(begin: dt.date, end: dt.date) -> int:
        return context.failures.filter(
            (pl.col("failed_on") >= begin) & (pl.col("failed_on") < end)
        ).height

    year = dt.date(2024, 3, 1), dt.date(2025, 3, 1)
    month = dt.date(2025, 3, 1), dt.date(2025, 4, 1)
    assert row["failures"] == failed(*month)
    assert row["expected"] == pytest.approx(failed(*year) / watched(*year) * watched(*month))


def test_the_chart_runs_by_its_own_columns(context) -> None:
    """CUSUM, alarm and run length follow from failures, expected, reference and decision."""
    table = figure(context, "warnings", ("family", "cause_class")).drop_nulls("expected")
    for _, chart in table.group_by("family", "cause_class"):
        running = 0.0
        for row in chart.sort("month").iter_rows(named=True):
            running = max(0.0, running + row["failures"] - row["reference_value"])
            assert row["cusum"] == pytest.approx(running)
            rose = row["failures"] > row["reference_value"]
            assert row["alarm"] == (rose and running >= row["decision_value"])
    row = table.row(len(table) // 2, named=True)
    assert row["average_run_length"] == pytest.approx(
        cusum.average_run_length(row["expected"], row["reference_value"], row["decision_value"])
    )


def test_a_doubled_rate_alarms_within_months(make_fleet) -> None:
    """Failures of one class that double in the last months raise an alarm, the others do not."""
    context = make_fleet(1500, seed=4)
    late = context.failures.filter(
        (pl.col("failed_on") >= dt.date(2025, 6, 1)) & (pl.col("cause_class") == "scale")
    )
    more = pl.concat([context.failures, late.with_columns(call=pl.format("{}b", "call"))] * 1)
    more = pl.concat([more, late.with_columns(call=pl.format("{}c", "call"))])
    table = figure(replace(context, failures=more), "warnings", ("cause_class",))
    recent = table.filter(pl.col("month") >= dt.date(2025, 8, 1))
    assert recent.filter(pl.col("cause_class") == "scale")["alarm"].any()
    assert not recent.filter(pl.col("cause_class") != "scale")["alarm"].any()


def test_a_decision_value_that_falls_below_the_sum_is_no_alarm() -> None:
    """Two failures of sixty units stay below 2; with three units left, no failure alarms at 1."""
    first = dt.date(2024, 1, 1)
    months = months_between(first, dt.date(2025, 9, 1))
    observed, days = np.zeros(len(months) - 1), np.full(len(months) - 1, 1800)
    observed[[11, 16]] = 1, 2
    days[17:] = 90
    rows = chart_months(observed, days, months, too_few=False)
    overtaken = [row for row in rows if row["cusum"] >= row["decision_value"]]
    assert [row["failures"] for row in overtaken] == [0] * len(overtaken) != []
    assert not any(row["alarm"] for row in rows)
    # The next failure is one more than such a month is good for.
    observed[-1] = 1
    assert [row["alarm"] for row in chart_months(observed, days, months, too_few=False)] == [
        *[False] * (len(rows) - 1),
        True,
    ]


def test_failures_of_a_month_without_a_trailing_rate_do_not_raise_the_sum() -> None:
    """A group that is first watched in its 14th month: its three failures there are no excess."""
    months = months_between(dt.date(2024, 1, 1), dt.date(2025, 4, 1))
    observed, days = np.zeros(len(months) - 1), np.zeros(len(months) - 1)
    observed[13:], days[13:] = 3, 1800
    rows = chart_months(observed, days, months, too_few=False)
    assert [row["cusum"] for row in rows] == [None, None, 0.0]
    nothing = "cannot be estimated, because no unit was watched"
    assert [row["note"] for row in rows] == [nothing, f"{nothing} in the trailing year", None]
    assert not any(row["alarm"] for row in rows)


@pytest.mark.parametrize("expected", [0.004, 0.05, 0.3, 1.0, 4.2, 27.0, 180.0, 2500.0])
def test_a_design_keeps_quiet_for_two_hundred_months(expected: float) -> None:
    """At every size the run length is at least the target, and a step less falls short of it."""
    reference, decision = cusum.design(expected)
    length = cusum.average_run_length(expected, reference, decision)
    assert length >= cusum.TARGET_RUN_LENGTH
    assert expected < reference
    raised = expected + max(0.2 * expected, 1.5 * np.sqrt(expected))
    assert cusum.average_run_length(raised, reference, decision) < length / 4


def test_a_run_length_by_simulation() -> None:
    """Ten thousand charts of one mean alarm after as many months as the chain says."""
    random = np.random.default_rng(2)
    counts = random.poisson(2.0, (4000, 400)).astype(float)
    sums = cusum.path(counts, np.full(counts.shape, 2.5))
    alarmed = sums >= 5
    first = np.where(alarmed.any(axis=1), alarmed.argmax(axis=1) + 1, 400)
    expected = cusum.average_run_length(2.0, 2.5, 5)
    assert first.mean() == pytest.approx(expected, rel=0.05)
