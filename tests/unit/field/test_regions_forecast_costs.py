"""Regions with water taken into account, the forecast and costs."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import polars as pl
import pytest

from pipelines.field.adjustment import BANDS_DAYS, adjusted_regions
from pipelines.field.context import FieldContext, episodes, prepare
from pipelines.field.costs import costs
from pipelines.field.forecast import forecast
from pipelines.field.regions import regions

AS_OF = dt.date(2026, 6, 30)


def fleet(seed: int, units: int = 1200, rates: dict[str, float] | None = None) -> FieldContext:
    """A fleet whose failures depend on water alone; the north has most of the hard water."""
    rates = rates or {"scale-forming": 0.9, "within limits": 0.3}
    random = np.random.default_rng(seed)
    north = random.random(units) < 0.5
    hard = random.random(units) < np.where(north, 0.8, 0.2)
    start = np.array("2023-01-01", dtype="datetime64[D]") + random.integers(0, 700, units)
    frame = pl.DataFrame(
        {
            "serial": [f"U{i:05d}" for i in range(units)],
            "family": random.choice(["Force", "Beck"], units),
            "region": np.where(north, "US-ME", "US-OR"),
            "water_profile": np.where(hard, "scale-forming", "within limits"),
            "watched_from": start,
        }
    ).with_columns(
        pl.col("watched_from").cast(pl.Date),
        coverage_end=pl.col("watched_from").cast(pl.Date).dt.offset_by("36mo"),
    )
    until = pl.min_horizontal("coverage_end", pl.lit(AS_OF + dt.timedelta(days=1)))
    frame = frame.with_columns(
        watched_until=until,
        watched_days=(until - pl.col("watched_from")).dt.total_days(),
        coverage_base_end="coverage_end",
        extended_on=pl.lit(None, pl.Date),
        startup_completed_on=pl.lit(None, pl.Date),
        retired_on=pl.lit(None, pl.Date),
        shipped_on="watched_from",
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit(None, pl.String),
    )
    failures = _failures(random, frame, rates)
    states = frame.select(
        "serial",
        from_day="watched_from",
        until_day="watched_until",
        state=pl.lit("untreated"),
    )
    payable = failures.select(
        "claim",
        parts_payable=pl.lit(Decimal("100.10"), pl.Decimal(18, 2)),
        labor_payable=pl.lit(Decimal("50.00"), pl.Decimal(18, 2)),
        travel_payable=pl.lit(Decimal("0.00"), pl.Decimal(18, 2)),
    )
    doubtful = pl.DataFrame(
        schema={
            "serial": pl.String,
            "unsound": pl.String,
            "days": pl.Int64,
            "failures": pl.Int64,
        }
    )
    return prepare(frame, failures, payable, states, doubtful, AS_OF)


def _failures(
    random: np.random.Generator, frame: pl.DataFrame, rates: dict[str, float]
) -> pl.DataFrame:
    rate = frame["water_profile"].replace_strict(rates, return_dtype=pl.Float64).to_numpy()
    days = frame["watched_days"].to_numpy()
    count = random.poisson(rate * days / 365.25)
    owner = np.repeat(np.arange(frame.height), count)
    age = (random.random(len(owner)) * days[owner]).astype(int)
    drawn = frame[owner].select("serial", "watched_from").with_columns(age=pl.Series(age))
    return drawn.select(
        call=pl.format("C{}", pl.int_range(pl.len())),
        claim=pl.format("W{}", pl.int_range(pl.len())),
        serial="serial",
        failed_on=pl.col("watched_from") + pl.duration(days=pl.col("age")),
        age="age",
        cause=pl.lit("SCALED"),
        cause_class=pl.lit("scale"),
        water_related=pl.lit(True),
        opened_on=pl.col("watched_from") + pl.duration(days=pl.col("age")),
        claimed_on=pl.lit(None, pl.Date),
        agency=pl.lit("A"),
        labor_hours=pl.lit(Decimal("1.5"), pl.Decimal(18, 10)),
    )


def test_adjusted_ratios_equal_a_regression_unit_by_unit() -> None:
    """Cells and summed residuals give what a clustered regression on unit rows gives.

    Checked against statsmodels' Poisson regression with cluster-robust covariance.
    """
    import statsmodels.api as sm

    context = fleet(1, units=400)
    exposed = episodes(context)
    told = adjusted_regions(context.failures, exposed).sort("region")
    rows = []
    ends = [*BANDS_DAYS[1:], 10**6]
    for unit in exposed.iter_rows(named=True):
        ages = context.failures.filter(pl.col("serial") == unit["serial"])["age"].to_numpy()
        for band, (begin, end) in enumerate(zip(BANDS_DAYS, ends, strict=True)):
            days = min(unit["days"], end) - begin
            if days > 0:
                failed = ((ages >= begin) & (ages < end)).sum()
                rows.append(
                    (
                        unit["serial"],
                        unit["region"],
                        unit["profile"],
                        unit["family"],
                        band,
                        days,
                        failed,
                    )
                )
    table = pl.DataFrame(
        rows, schema=["serial", "region", "profile", "family", "band", "y", "f"], orient="row"
    )
    some = table.group_by("band").agg(pl.col("f").sum()).filter(pl.col("f") > 0)["band"]
    table = table.filter(pl.col("band").is_in(some.implode()))
    design = [
        (table[name] == level).cast(float)
        for name in ("region", "profile", "family", "band")
        for level in table[name].unique().sort().to_list()[0 if name == "region" else 1 :]
    ]
    model = sm.GLM(
        table["f"].to_numpy(),
        np.column_stack([c.to_numpy() for c in design]),
        family=sm.families.Poisson(),
        offset=np.log(table["y"].to_numpy()),
    )
    clusters = table["serial"].rank("dense").to_numpy()
    fit = model.fit(
        cov_type="cluster",
        cov_kwds={"groups": clusters, "use_correction": False},
    )
    years = table.group_by("region").agg(pl.col("y").sum()).sort("region")["y"].to_numpy()
    weights = years / years.sum()
    groups = len(np.unique(clusters))
    for place, row in enumerate(told.iter_rows(named=True)):
        contrast = np.zeros(len(fit.params))
        contrast[:2] = -weights
        contrast[place] += 1
        spread = np.sqrt(contrast @ fit.cov_params() @ contrast * groups / (groups - 1))
        expected = np.exp(contrast @ fit.params)
        assert row["adjusted_ratio"] == pytest.approx(expected, rel=1e-6)
        assert row["adjusted_low"] == pytest.approx(expected * np.exp(-1.959964 * spread), rel=1e-5)


def test_a_region_is_not_blamed_for_its_water() -> None:
    """Where water alone breaks machines, crude ratios part the regions and adjusted ones do not."""
    rows = regions(fleet(2)).filter(pl.col("event") == "any").sort("region").to_dicts()
    north, south = rows
    assert north["crude_ratio"] > 1.15
    assert south["crude_ratio"] < 0.85
    for row in rows:
        assert row["adjusted_low"] < 1 < row["adjusted_high"]
    assert north["failures"] / north["expected"] == pytest.approx(north["crude_ratio"])


def test_regions_that_have_a_water_to_themselves_say_so() -> None:
    """Where region and water coincide no adjusted ratio is shown, and the note says why."""
    context = fleet(3, units=300)
    own = (
        pl.when(pl.col("region") == "US-ME")
        .then(pl.lit("scale-forming"))
        .otherwise(pl.lit("silica"))
    )
    parted = FieldContext(
        context.units.with_columns(profile=own),
        context.failures.with_columns(profile=own),
        context.states.with_columns(profile=own),
        context.doubtful,
        context.before,
        context.as_of,
    )
    rows = regions(parted)
    assert rows["adjusted_ratio"].null_count() == rows.height
    assert set(rows["note"]) == {
        "region and water profile hardly overlap here: no method can part them"
    }


def test_one_region_is_compared_with_nothing() -> None:
    """A single region has its rate and no ratio limits, and says so."""
    context = fleet(4, units=200)
    alone = FieldContext(
        context.units.with_columns(region=pl.lit("US-ME")),
        context.failures.with_columns(region=pl.lit("US-ME")),
        context.states.with_columns(region=pl.lit("US-ME")),
        context.doubtful,
        context.before,
        context.as_of,
    )
    row = regions(alone).row(0, named=True)
    assert row["rate_per_100"] > 0
    assert row["adjusted_ratio"] is None
    assert row["p_value"] is None
    assert row["note"] == "the only region: there is nothing to compare it with"


def test_no_failure_at_all_gives_notes_and_no_nan() -> None:
    """Without a failure every figure is null or 0 and says why."""
    context = fleet(5, units=50, rates={"scale-forming": 0.0, "within limits": 0.0})
    for table in (regions(context), forecast(context, ()), costs(context, ("family",))):
        floats = table.select(pl.selectors.float())
        assert not floats.select(pl.all().is_nan().any()).sum_horizontal().item()
    assert regions(context)["adjusted_ratio"].null_count() == 4
    assert set(forecast(context, ())["note"]) == {
        "cannot be estimated, because there was no failure"
    }


def test_the_forecast_of_a_year_ago_covers_what_happened() -> None:
    """With a constant rate, most of last year's months fall inside their 95 % intervals."""
    inside = []
    for seed in range(6):
        table = forecast(fleet(10 + seed), ())
        past = table.filter(pl.col("as_of") == dt.date(2025, 6, 30))
        assert past.height == 12
        assert past["actual"].null_count() == 0
        inside += (
            past.select(
                (pl.col("actual") >= pl.col("low_95")) & (pl.col("actual") <= pl.col("high_95"))
            )
            .to_series()
            .to_list()
        )
    assert np.mean(inside) >= 0.85


def test_the_forecast_is_the_rate_times_the_cover_to_come() -> None:
    """With one family, one water and a constant rate, the months follow the days still covered."""
    context = fleet(20, units=3000, rates={"scale-forming": 0.6, "within limits": 0.6})
    coming = forecast(context, ()).filter(pl.col("as_of") == AS_OF).sort("month")
    month = dt.date(2026, 7, 1)
    days = (
        context.units.select(
            (pl.min_horizontal("coverage_end", pl.lit(dt.date(2026, 8, 1))) - pl.lit(month))
            .dt.total_days()
            .clip(lower_bound=0)
        )
        .to_series()
        .sum()
    )
    row = coming.row(0, named=True)
    assert row["month"] == month
    assert row["failures"] == pytest.approx(0.6 * days / 365.25, rel=0.08)
    assert row["low_95"] <= row["low_80"] <= row["failures"] <= row["high_80"] <= row["high_95"]
    assert row["cost"] == pytest.approx(row["failures"] * 150.10, rel=1e-6)
    assert row["actual"] is None


def test_costs_add_up_to_the_cent() -> None:
    """Each line is the exact sum of what is payable, and the total that of the lines."""
    context = fleet(30, units=100)
    row = costs(context, ()).row(0, named=True)
    count = context.failures.height
    assert row["parts"] == Decimal("100.10") * count
    assert row["total"] == row["parts"] + row["labor"] + row["travel"]
    by_family = costs(context, ("family",))
    assert by_family["total"].sum() == row["total"]
    years = context.units["watched_days"].sum() / 365.25
    assert row["cost_per_unit_year"] == pytest.approx(float(row["total"]) / years)
