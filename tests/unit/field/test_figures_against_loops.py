"""The figures beside slow, obvious second implementations, unit by unit and day by day."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipelines.field.figures import figure
from pipelines.field.poisson import garwood_limits

MONTHS = (0, 1, 7, 16, 24, 36)
MONTH_DAYS = 30.4375


def units_of(context, **chosen) -> list[dict]:
    """Watched units, each with its failures."""
    failures: dict[str, list[dict]] = {}
    for row in context.failures.sort("age", "call").iter_rows(named=True):
        failures.setdefault(row["serial"], []).append(row)
    rows = context.units.filter(pl.col("watched_days") > 0).to_dicts()
    return [
        row | {"failures": failures.get(row["serial"], [])}
        for row in rows
        if all(row[name] == word for name, word in chosen.items())
    ]


def only(table: pl.DataFrame, **chosen) -> dict:
    """The one row of a table with these words."""
    return table.filter(*(pl.col(name) == word for name, word in chosen.items())).row(0, named=True)


def test_rates_are_counts_over_time(context) -> None:
    """Failures, units, unit-years, rate and exact limits of a region's water."""
    table = figure(context, "rates", ("region", "profile"))
    units = units_of(context, region="US-OR", profile="chloride")
    row = only(table, region="US-OR", profile="chloride")
    count = sum(len(unit["failures"]) for unit in units)
    years = sum(unit["watched_days"] for unit in units) / 365.25
    assert (row["failures"], row["units"]) == (count, len(units))
    assert row["unit_years"] == pytest.approx(years, rel=1e-12)
    low, high = garwood_limits(np.array([count]))
    told = [row[name] for name in ("rate_per_100", "low", "high")]
    assert told == pytest.approx([100 * x / years for x in (count, low[0], high[0])])


def test_robust_limits_are_those_of_a_clustered_poisson_regression(context) -> None:
    """Checked against statsmodels' Poisson regression without terms, clustered by unit."""
    import statsmodels.api as sm

    units = units_of(context)
    fit = sm.GLM(
        np.array([len(unit["failures"]) for unit in units]),
        np.ones(len(units)),
        family=sm.families.Poisson(),
        offset=np.log([unit["watched_days"] / 365.25 for unit in units]),
    ).fit(cov_type="cluster", cov_kwds={"groups": np.arange(len(units))})
    row = figure(context, "rates", ()).row(0, named=True)
    assert [row["robust_low"], row["robust_high"]] == pytest.approx(
        100 * np.exp(fit.conf_int()[0]), rel=1e-6
    )


def test_a_class_parts_failures_and_leaves_time_to_all(context) -> None:
    """By cause class the failures add up to all, and units and unit-years are everyone's."""
    whole = figure(context, "rates", ()).row(0, named=True)
    parts = figure(context, "rates", ("cause_class",))
    assert parts["failures"].sum() == whole["failures"]
    assert set(parts["unit_years"]) == {whole["unit_years"]}
    assert set(parts["units"]) == {whole["units"]}


def test_states_share_out_days_and_failures(context) -> None:
    """By treatment, unit-years and failures add up to all, each in the state of its day."""
    whole = figure(context, "rates", ()).row(0, named=True)
    parts = figure(context, "rates", ("treatment",))
    assert parts["unit_years"].sum() == pytest.approx(whole["unit_years"])
    assert parts["failures"].sum() == whole["failures"]
    treated = context.states.filter(pl.col("treatment") == "treated")
    days = (treated["exit"] - treated["entry"]).sum()
    assert only(parts, treatment="treated")["unit_years"] == pytest.approx(days / 365.25)


@pytest.mark.parametrize("event", ["any", "water", "scale"])
def test_survival_at_months(context, event: str) -> None:
    """At risk are units watched so long without a first failure; S is the product over days."""

    def counts(failure: dict) -> bool:
        return {"any": True, "water": failure["water_related"]}.get(
            event, failure["cause_class"] == event
        )

    lives = []
    for unit in units_of(context, profile="scale-forming"):
        ages = [failure["age"] for failure in unit["failures"] if counts(failure)]
        lives.append((min(ages), True) if ages else (unit["watched_days"], False))
    table = figure(context, "survival", ("profile",)).filter(
        pl.col("profile") == "scale-forming", pl.col("event") == event
    )
    for months in MONTHS:
        end = months * MONTH_DAYS
        survival = 1.0
        for day in sorted({age for age, failed in lives if failed and age <= end}):
            at_risk = sum(age >= day for age, _ in lives)
            survival *= 1 - sum(age == day and failed for age, failed in lives) / at_risk
        row = only(table, months=months)
        assert row["at_risk"] == sum(age >= end for age, _ in lives)
        assert row["failures"] == sum(failed and age <= end for age, failed in lives)
        if row["at_risk"]:
            assert row["survival"] == pytest.approx(survival)
        else:
            assert row["survival"] is None or survival == 0


def test_mean_count_and_cost_at_months(context) -> None:
    """Each failure adds one over the units watched for at least so many days."""
    units = units_of(context, family="Beck")
    table = figure(context, "repeat_failures", ("family",)).filter(
        pl.col("family") == "Beck", pl.col("event") == "any"
    )
    for months in MONTHS:
        end = months * MONTH_DAYS
        mean = sum(
            1 / sum(unit["watched_days"] >= failure["age"] for unit in units)
            for unit in units
            for failure in unit["failures"]
            if failure["age"] <= end
        )
        row = only(table, months=months)
        if row["at_risk"]:
            assert row["mean_count"] == pytest.approx(mean)
            assert row["mean_cost"] == pytest.approx(150.15 * mean)
        assert row["at_risk"] == sum(unit["watched_days"] >= end for unit in units)


def test_first_causes_and_survival_add_up_to_one(context) -> None:
    """The shares that first failed of each class are what survival has lost."""
    table = figure(context, "first_causes", ("profile",)).drop_nulls("incidence")
    whole = pl.col("cause_class") == "all"
    lost = table.filter(~whole).group_by("profile", "months").agg(pl.col("incidence").sum())
    told = lost.join(table.filter(whole), on=["profile", "months"])
    np.testing.assert_allclose(told["incidence"], told["incidence_right"])
    kept = figure(context, "survival", ("profile",)).filter(pl.col("event") == "any")
    both = lost.join(kept, on=["profile", "months"])
    assert both.height > 60
    np.testing.assert_allclose(both["incidence"] + both["survival"], 1)


def test_a_stretch_of_the_calendar_holds_its_own_days(context) -> None:
    """Inside [since, until) only its days and failures count, half-open."""
    import datetime as dt

    from pipelines.field.narrowing import narrow

    since, until = dt.date(2024, 1, 1), dt.date(2025, 1, 1)
    row = figure(narrow(context, since=since, until=until), "rates", ()).row(0, named=True)
    days = failures = 0
    for unit in units_of(context):
        begin, end = max(unit["watched_from"], since), min(unit["watched_until"], until)
        days += max((end - begin).days, 0)
        failures += sum(since <= failure["failed_on"] < until for failure in unit["failures"])
    assert row["failures"] == failures
    assert row["unit_years"] == pytest.approx(days / 365.25)


def test_a_unit_that_failed_before_the_stretch_is_not_at_risk_of_a_first_failure(context) -> None:
    """Survival within a stretch of the calendar leaves out units that had failed before it."""
    import datetime as dt

    from pipelines.field.narrowing import narrow

    since = dt.date(2024, 6, 1)
    table = figure(narrow(context, since=since), "survival", ())
    row = only(table, event="any", months=0)
    fresh = [unit for unit in units_of(context) if unit["watched_from"] >= since]
    assert row["at_risk"] == len(fresh)
    later = only(table, event="any", months=12)
    expected = 0
    for unit in units_of(context):
        first = min((failure["age"] for failure in unit["failures"]), default=10**6)
        entry = max((since - unit["watched_from"]).days, 0)
        known = first >= entry and entry <= 365
        expected += known and min(unit["watched_days"], first) >= 12 * MONTH_DAYS
    assert later["at_risk"] == expected


def test_no_order_of_rows_shows_in_a_figure(context) -> None:
    """Shuffled units, failures and states give the same tables, sums to their last digits.

    The rows of the store and of `prepare` are sorted, so that there the last digit is the same too.
    """
    from dataclasses import replace

    mixed = replace(
        context,
        units=context.units.sample(fraction=1, shuffle=True, seed=3),
        failures=context.failures.sample(fraction=1, shuffle=True, seed=4),
        states=context.states.sample(fraction=1, shuffle=True, seed=5),
    )
    for name in ("rates", "survival", "repeat_failures", "first_causes", "costs", "cohorts"):
        for dims in ((), ("region",), ("treatment",)):
            if name == "cohorts" and dims == ("treatment",):
                continue
            one, other = figure(context, name, dims), figure(mixed, name, dims)
            exact = [column for column in one.columns if not one.schema[column].is_float()]
            assert one.select(exact).equals(other.select(exact))
            for column in set(one.columns) - set(exact):
                np.testing.assert_allclose(
                    one[column].to_numpy(), other[column].to_numpy(), rtol=1e-12
                )


def test_months_of_age_are_whole_in_sixteenths() -> None:
    """The last whole day of each month, and those at risk there, by plain fractions."""
    from pipelines.field.risk_sets import MONTH_AGES, AgeGrid, Episodes

    assert [int(month * MONTH_DAYS) for month in range(61)] == MONTH_AGES.tolist()
    exits = np.array([0, 30, 31, 486, 487, 488, 1826, 1827, 3000])
    zeros = np.zeros(len(exits), np.int64)
    reached = AgeGrid(1).counts(Episodes(zeros, zeros, zeros, exits)).at_risk_at_months[0]
    expected = [int((exits >= month * MONTH_DAYS).sum()) for month in range(61)]
    assert reached.tolist() == expected
    assert all(a >= b for a, b in pairwise(expected))
