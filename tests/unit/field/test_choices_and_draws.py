"""Days and serials that are chosen, draws of what is to come, and units still to be watched."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import polars as pl
import pytest

from pipelines.field import completion_record
from pipelines.field import costs as costs_of
from pipelines.field.cohort_course import Quarters
from pipelines.field.cohort_projection import Course, Reference, _months
from pipelines.field.cohort_ratios import standardized
from pipelines.field.conditions import read_conditions
from pipelines.field.context import FieldContext
from pipelines.field.counted_episodes import CountedEpisodes, Events
from pipelines.field.figures import figure
from pipelines.field.forecast_draws import DRAWS, Cells, Money, drawn, limits
from pipelines.field.hindsight import fleet_known
from pipelines.field.mean_cumulative import courses_at_months
from pipelines.field.pending import with_pending
from pipelines.field.ratios_to_rest import ratios_to_rest
from pipelines.field.risk_sets import MONTHS, AgeGrid, Episodes
from pipelines.field.selection import mark_days
from pipelines.field.weibull import Lives, Times, fit_weibull


@pytest.mark.parametrize(
    ("text", "chosen"),
    [
        ("serial=U00010..U00012", {10, 11, 12}),
        ("serial=U00037..", {37, 38, 39}),
        ("serial=..U00001", {0, 1}),
        ("serial=U7..U9", {7, 8, 9}),  # by their numbers, not sign by sign
        ("serial=T1..T99", set()),  # another text
        ("serial=V1..", set()),
    ],
)
def test_a_range_of_serials_holds_both_its_ends(
    make_fleet: Callable[..., FieldContext], text: str, chosen: set[int]
) -> None:
    """Serials compare by their text without digits first, then by their numbers."""
    fleet = make_fleet(40, 6)
    inside = mark_days(fleet, read_conditions([text])).filter("inside")
    serials = fleet.units.join(inside.select("unit").unique(), on="unit", how="semi")["serial"]
    assert {int(serial[1:]) for serial in serials} == chosen


@pytest.mark.parametrize(
    ("since", "until"),
    [("2024-03-10", "2024-06-20"), ("2024-03-10", ""), ("", "2024-06-20"), ("2024-05-05",) * 2],
)
def test_days_chosen_are_those_from_the_first_to_the_last(
    make_fleet: Callable[..., FieldContext], since: str, until: str
) -> None:
    """Unit by unit as many days as both the watch and the range hold, ends included."""
    fleet = make_fleet(60, 3)
    marked = mark_days(fleet, read_conditions([f"failed_on={since}..{until}"])).filter("inside")
    found = Counter[int]()
    for unit, days in marked.select("unit", pl.col("exit") - pl.col("entry")).rows():
        found[unit] += days
    first = dt.date.fromisoformat(since or "1970-01-01")
    after = dt.date.fromisoformat(until or "2199-01-01") + dt.timedelta(days=1)
    by_hand = {
        unit: (min(end, after) - max(start, first)).days
        for unit, start, end in fleet.units.select("unit", "watched_from", "watched_until").rows()
    }
    expected = {unit: days for unit, days in by_hand.items() if days > 0}
    assert dict(found) == expected
    assert expected


def test_draws_come_to_time_times_rate_times_ratio() -> None:
    """50 unit-years at one a year and a ratio of 3 are 150 failures, of 4 each; of 2 draws alike.

    The mean of 2,000 draws is within four of its standard errors, sqrt(150 x spread / 2,000).
    """
    years = np.full((1, 1, 2), 50.0)
    cells = Cells(np.ones((1, DRAWS)), np.ones((2, DRAWS)), np.zeros(1, np.int64), None)
    money = Money(np.full((1, 1, 2), 4.0), np.array([[0.5]]), np.full(DRAWS, 2.0))
    for spread in (1.0, 2.0):
        ratios = np.full((1, 1, DRAWS), 3.0)
        told = drawn(years, cells, ratios, spread, money, np.random.default_rng(7))
        assert told.failures.shape == (1, 1, 2, DRAWS)
        error = np.sqrt(150 * spread / DRAWS)
        for month in range(2):
            counts = told.failures[0, 0, month].astype(float)
            assert counts.mean() == pytest.approx(150, abs=4 * error)
            # A variance of 2,000 draws is within a seventh of its own.
            assert counts.var() == pytest.approx(150 * spread, rel=1 / 7)
            cost = told.cost[0, 0, month].astype(float)
            assert cost.mean() == pytest.approx(150 * 4 * 2, rel=0.02)


def test_limits_are_quantiles_and_counts_are_whole() -> None:
    """Of 0 to 2,000 in 2,001 draws, a tenth lies below 200; halves of a count round outward."""
    draws = np.random.default_rng(1).permutation(2001).astype(float)
    told = limits(draws, whole=False)
    found = [told[name].item() for name in ("low_95", "low_80", "high_80", "high_95")]
    assert found == [50, 200, 1800, 1950]
    halves = limits(draws / 4, whole=True)
    assert all(float(limit) == round(float(limit)) for limit in halves.values())
    found = [float(limit) for limit in halves.values()]
    assert found == pytest.approx([12.5, 50, 450, 487.5], abs=0.5)


def test_units_due_are_counted_by_quarter_family_and_month(context: FieldContext) -> None:
    """Whoever will be watched for 30.4375 days a month, cover to come included, unit by unit."""
    quarters = Quarters.of(context, [])
    families, count = quarters.families
    fleet = fleet_known(context, context.as_of)
    watched = dict(fleet.select("unit", pl.col("ends") - pl.col("starts")).rows())
    by_hand = np.zeros((quarters.groups.height, count, 61))
    place = {cohort: n for n, cohort in enumerate(quarters.groups["cohort"])}
    months = np.arange(61) * 30.4375
    start = pl.col("watched_from")
    cohorts = context.units.filter(pl.col("watched_days") > 0).select(
        "unit", pl.format("{}-Q{}", start.dt.year(), start.dt.quarter())
    )
    for unit, cohort in cohorts.rows():
        by_hand[place[cohort], families[unit]] += watched[unit] >= months
    assert count == 2
    assert quarters.groups.height > 8
    np.testing.assert_array_equal(quarters.due, by_hand)


def test_what_came_just_at_a_limit_lies_within(
    context: FieldContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.1 + 0.2 against a limit of 0.3: the last digit of a sum puts no cell outside."""
    cell = {"by": "all", "event": "any", "cohort": "2024-Q1", "months": 12, "failures": 9}
    limits = {"completed_low_80": 0.1, "completed_high_80": 0.3, "completed_high": 0.3}
    then = cell | limits | {"projected": True, "completed_per_100": 0.2, "completed_low": 0.1}
    now = cell | {"projected": False, "at_risk": 30, "shown": True, "mean_per_100": 0.1 + 0.2}
    now |= {"completed_per_100": None}
    tables = [pl.DataFrame([row]).cast({pl.Null: pl.Float64}) for row in (then, now)]
    monkeypatch.setattr(completion_record, "cohorts", lambda *_: tables.pop(0))
    (row,) = completion_record.completion_record(context, ()).filter(event="any").to_dicts()
    assert (row["cells"], row["inside_80"], row["inside_95"]) == (1, 1.0, 1.0)


def test_a_trace_of_rounding_is_no_error_of_a_month() -> None:
    """By hand: variances of 0.01, 0.0101 and then the same but for the last digit."""
    months = MONTHS + 1
    shape = (1, 1, months)
    mean, error = np.zeros(shape), np.full(shape, 0.1)
    mean[..., 5:], error[..., 5:] = 0.2, np.sqrt(0.0101)
    error[..., 6:] *= 1 + 4e-16
    due, nothing = np.full(shape, 10), np.zeros((1, months))
    reached, sums = np.array([3]), np.ones(1)
    course = Course(np.zeros(1, int), nothing, nothing, reached, reached, sums, sums, due)
    none = CountedEpisodes(AgeGrid(1), Episodes(*np.zeros((4, 1), int)))
    ((_, curve),) = courses_at_months(none, Events(*np.zeros((3, 0), int)), np.zeros(0))
    reference = Reference(mean, error, np.full(shape, 10), curve)
    to_come = _months(course, reference).of(0, 4, 8)
    np.testing.assert_allclose(to_come.error, [0, np.sqrt(0.0001), 0, 0], atol=1e-15)
    assert to_come.error[2] == 0
    np.testing.assert_allclose(to_come.step, [0, 0.2, 0, 0])


def test_first_causes_by_class_have_no_row_of_all(context: FieldContext) -> None:
    """Sliced by class, a figure parts the failures; what comes to all stands in the whole."""
    by_class = figure(context, "first_causes", ("cause_class",))
    assert set(by_class["cause_class"]) == {"scale", "chlorine", "electrical", "unknown"}
    assert "all" in set(figure(context, "first_causes", ())["cause_class"])


def test_limits_of_failures_between_two_ages_go_by_the_curvature() -> None:
    """Beside second differences of the log-likelihood, written out here, at its maximum."""
    after, until = np.array([0.0, 10.0, 20.0, 30.0]), np.array([10.0, 20.0, 30.0, 40.0])
    count = np.array([3.0, 8.0, 9.0, 5.0])
    lives = Lives(running=Times(np.array([40.0]), np.array([6.0])), between=(after, until, count))
    fit = fit_weibull(lives)
    assert fit is not None

    def value(log_scale: float, log_shape: float) -> float:
        def left(ages: np.ndarray) -> np.ndarray:
            return np.exp(-((ages / np.exp(log_scale)) ** np.exp(log_shape)))

        return float(count @ np.log(left(after) - left(until)) + 6 * np.log(left(np.array(40.0))))

    at, h = np.log([fit.scale, fit.shape]), 1e-4
    steps = np.eye(2) * h
    curvature = np.array(
        [
            [
                (
                    value(*(at + one + other))
                    - value(*(at + one - other))
                    - value(*(at - one + other))
                    + value(*(at - one - other))
                )
                / (4 * h * h)
                for other in steps
            ]
            for one in steps
        ]
    )
    covariance = np.linalg.inv(-curvature)
    expected = (covariance[0, 0], covariance[0, 1], covariance[1, 1])
    assert fit.covariance == pytest.approx(expected, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(value(*at))
    assert value(*at) >= max(value(*(at + sign * step)) for step in steps for sign in (-1, 1))


def test_what_waits_would_pay_and_what_is_decided_would_not(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """Three lines together of a claim that still waits, with its lead reason; else nothing."""
    fleet = make_fleet(20, 2, rate=3.0)
    rows = [
        ("W0", "needs_evidence", "needs_evidence", "filed_in_time", (100.0, 50.0, 0.25)),
        ("W1", "needs_review", "needs_review", None, (10.0, 0.0, 0.0)),
        ("W2", "covered", "covered", None, (30.0, 30.0, 30.0)),
        ("W3", "needs_review", "not_covered", "records_agree", (30.0, 30.0, 30.0)),  # was ruled on
    ]
    lines = ("parts_if_covered", "labor_if_covered", "travel_if_covered")
    decisions = pl.DataFrame(
        [
            {"claim": claim, "verdict": verdict, "standing": standing, "lead_reason": reason}
            | dict(zip(lines, amounts, strict=True))
            for claim, verdict, standing, reason, amounts in rows
        ]
    )
    moved = pl.List(pl.Struct({"condition": pl.String, "from": pl.String, "to": pl.String}))
    history = pl.DataFrame(
        schema={"claim": pl.String, "from_verdict": pl.String, "to_verdict": pl.String,
                "moved_from_to": moved}
    )  # fmt: skip
    told = with_pending(fleet, decisions, history).failures
    found = {claim: rest for claim, *rest in told.select("claim", "if_covered", "waits_for").rows()}
    assert found["W0"] == [150.25, "filed_in_time"]
    assert found["W1"] == [10.0, "unknown"]
    assert found["W2"] == found["W3"] == found["W4"] == [0.0, None]


def test_expected_failures_go_by_the_rates_of_all_groups_by_cell() -> None:
    """By hand: 4 in 400 days of one family, 2 in 100 of the other; so 1 + 2 and 3 are expected."""
    days = pl.DataFrame(
        {
            "unit": [1, 1, 2, 3],
            "entry": ["2024-Q1", "2024-Q1", "2024-Q1", "2024-Q2"],
            "family": ["Beck", "Beck", "Skerry", "Beck"],
            "days": [40, 60, 100, 300],
        }
    )
    failed = pl.DataFrame(
        {
            "entry": ["2024-Q1"] * 3 + ["2024-Q2"] * 3,
            "family": ["Beck", "Skerry", "Skerry", *["Beck"] * 3],
        }
    )
    told = standardized(days, failed, "entry", ("family",))
    assert told["entry"].to_list() == ["2024-Q1", "2024-Q2"]
    assert told["units"].to_list() == [2, 1]
    assert told["failures"].to_list() == [3, 3]
    assert told["expected"].to_list() == pytest.approx([3.0, 3.0])
    assert told["unit_years"].to_list() == pytest.approx([200 / 365.25, 300 / 365.25])


def test_a_rate_against_the_rest_has_limits_that_hold_when_units_fail_again(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """Unit by unit: the variance of the log ratio adds up what each unit is off on both sides."""
    fleet = make_fleet(200, 4, rate=2.0)
    found = {one.words: one for one in ratios_to_rest(fleet, "season", "any")}
    assert set(found) == {"winter", "spring", "summer", "autumn"}
    time: dict[tuple[int, str], float] = defaultdict(float)
    for unit, start, end in fleet.units.select("unit", "watched_from", "watched_until").rows():
        for number in range((end - start).days):
            time[unit, season_of(start + dt.timedelta(days=number))] += 1 / 365.25
    count = Counter(
        (unit, season_of(day)) for unit, day in fleet.failures.select("unit", "failed_on").rows()
    )
    units = fleet.units["unit"].to_list()
    for season, one in found.items():
        others = [name for name in found if name != season]
        t = {unit: (time[unit, season], sum(time[unit, name] for name in others)) for unit in units}
        y = {
            unit: (count[unit, season], sum(count[unit, name] for name in others)) for unit in units
        }
        years = [sum(both[side] for both in t.values()) for side in (0, 1)]
        failures = [sum(both[side] for both in y.values()) for side in (0, 1)]
        rate = [n / u for n, u in zip(failures, years, strict=True)]
        variance = 0.0
        for unit in units:
            own, rest = (
                (y[unit][side] - rate[side] * t[unit][side]) / failures[side] for side in (0, 1)
            )
            variance += (own - rest) ** 2
        ratio, error = rate[0] / rate[1], variance**0.5
        assert one.failures == failures[0]
        assert (one.ratio, one.low, one.high) == pytest.approx(
            (ratio, ratio * np.exp(-1.959964 * error), ratio * np.exp(1.959964 * error)), rel=1e-6
        )


def season_of(day: dt.date) -> str:
    """Winter is December to February, and so on."""
    return ("winter", "spring", "summer", "autumn")[day.month % 12 // 3]


def test_money_that_waits_is_rounded_to_the_cent_half_away_from_zero(
    make_fleet: Callable[..., FieldContext], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An eighth of a failure's unit of money each: one failure 0.13, three 0.38, five 0.63."""
    monkeypatch.setattr(costs_of, "weighted", lambda *_: pl.lit(0.125))
    fleet = make_fleet(38, 2, rate=1.5)
    told = dict(figure(fleet, "costs", ("cause_class",)).select("cause_class", "pending").rows())
    counts = Counter(fleet.failures["cause_class"])
    assert any(count % 8 == 5 for count in counts.values())
    for cause_class, count in counts.items():
        exact = Decimal(count) / 8
        assert told[cause_class] == exact.quantize(Decimal("0.01"), ROUND_HALF_UP)
