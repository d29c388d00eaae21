"""Regions with water taken into account, the forecast and costs."""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines.field.adjustment import BANDS_DAYS, adjusted_regions, days_in_bands
from pipelines.field.context import FieldContext
from pipelines.field.costs import costs
from pipelines.field.episodes import water_stretches
from pipelines.field.forecast import forecast
from pipelines.field.preparation import prepare
from pipelines.field.regions import LEAST_OVERLAP, adjusted_q_values, overlap, regions

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
            "site": [None if i % 5 == 0 else f"K{i // 3}" for i in range(units)],
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
    return prepare(frame, failures, payable, states, doubtful, AS_OF, waters_of(frame, random))


def waters_of(frame: pl.DataFrame, random: np.random.Generator) -> pl.DataFrame:
    """The water of each unit, tested twice; its hardness and silica are in some class."""
    hard = pl.col("water_profile") == "scale-forming"
    middle = pl.col("watched_from") + pl.duration(days=pl.col("watched_days") // 3)
    silica = pl.Series(random.integers(0, 3, frame.height), dtype=pl.Int8)
    told = {
        "sample": pl.lit(None, pl.String),
        "severity": pl.lit("normal"),
        "needs": pl.when(hard).then(pl.lit("scale")).otherwise(pl.lit("none")),
        "ratio_hardness_mg_l_caco3": pl.when(hard).then(4).otherwise(1).cast(pl.Int8),
    }
    halves = [
        frame.select(
            "serial", from_on="watched_from", until_on=middle, **told, ratio_silica_mg_l=silica,
        ),
        frame.select(
            "serial", from_on=middle, until_on="watched_until", **told,
            ratio_silica_mg_l=pl.lit(2, pl.Int8),
        ),
    ]  # fmt: skip
    return pl.concat(halves).sort("serial", "from_on")


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


def day_rows(context: FieldContext) -> pl.DataFrame:
    """Unit by unit, water by water and band by band: days, failures and what the model knows."""
    rows = []
    ends = [*BANDS_DAYS[1:], 10**6]
    for span in context.waters.iter_rows(named=True):
        ages = context.failures.filter(pl.col("serial") == span["serial"])["age"].to_numpy()
        for band, (begin, end) in enumerate(zip(BANDS_DAYS, ends, strict=True)):
            first, last = max(span["entry"], begin), min(span["exit"], end)
            if first < last:
                failed = ((ages >= first) & (ages < last)).sum()
                words = [span[name] for name in ("site", "region", "family", "needs")]
                rows.append((*words, span["ratio_silica_mg_l"], band, last - first, failed))
    names = ["site", "region", "family", "needs", "silica", "band", "y", "f"]
    return pl.DataFrame(rows, schema=names, orient="row")


def regressed(table: pl.DataFrame) -> tuple[object, np.ndarray, np.ndarray]:
    """statsmodels' Poisson regression of the rows, its design, and clusters of site."""
    import statsmodels.api as sm

    design = np.column_stack(
        [
            (table[name] == level).cast(float).to_numpy()
            for name in ("region", "family", "needs", "silica", "band")
            for level in table[name].unique().sort().to_list()[0 if name == "region" else 1 :]
        ]
    )
    model = sm.GLM(
        table["f"].to_numpy(),
        design,
        family=sm.families.Poisson(),
        offset=np.log(table["y"].to_numpy()),
    )
    clusters = table["site"].rank("dense").to_numpy()
    kinds = {"groups": clusters, "use_correction": False}
    return model.fit(cov_type="cluster", cov_kwds=kinds), design, clusters


def test_adjusted_ratios_equal_a_regression_unit_by_unit() -> None:
    """Cells and summed residuals give what a clustered regression on days of one water gives.

    Checked against statsmodels' Poisson regression with cluster-robust covariance. The class of
    the hardness repeats the needs and is left out.
    """
    from scipy.stats import norm

    context = fleet(1, units=400)
    told = adjusted_regions(context.failures, days_in_bands(water_stretches(context)))
    told = told.sort("region")
    assert told.height == 2
    table = day_rows(context)
    assert (table.group_by("needs", "band").agg(pl.col("f").sum())["f"] > 0).all()
    fit, _, clusters = regressed(table)
    years = table.group_by("region").agg(pl.col("y").sum()).sort("region")["y"].to_numpy()
    weights = years / years.sum()
    groups = len(np.unique(clusters))
    assert groups < context.units.height
    for place, row in enumerate(told.iter_rows(named=True)):
        contrast = np.zeros(len(fit.params))
        contrast[:2] = -weights
        contrast[place] += 1
        spread = np.sqrt(contrast @ fit.cov_params() @ contrast * groups / (groups - 1))
        estimate = contrast @ fit.params
        expected = np.exp(estimate)
        assert row["adjusted_ratio"] == pytest.approx(expected, rel=1e-6)
        assert row["adjusted_low"] == pytest.approx(expected * np.exp(-1.959964 * spread), rel=1e-5)
        chance = 2 * norm.cdf(-abs(estimate / spread))
        assert row["adjusted_p_value"] == pytest.approx(chance, rel=1e-5)


def test_the_clustered_covariance_is_the_sandwich() -> None:
    """Bread x meat x bread written out: inverse information around the summed scores of sites.

    Beside statsmodels' cluster covariance, which the other test compares with.
    """
    fit, design, clusters = regressed(day_rows(fleet(6, units=150)))
    mean = fit.fittedvalues
    bread = np.linalg.inv(design.T @ (design * mean[:, None]))
    scores = design * (fit.model.endog - mean)[:, None]
    meat = sum(
        np.outer(own, own)
        for own in (scores[clusters == site].sum(axis=0) for site in np.unique(clusters))
    )
    np.testing.assert_allclose(bread @ meat @ bread, fit.cov_params(), rtol=1e-6)


def test_sets_of_needs_with_few_failures_go_together() -> None:
    """Two sets of fewer than five failures are one level of the model, and one of five is not."""
    context = fleet(7, units=400)
    failing = context.failures.group_by("serial").len().sort("serial")
    alone = [name for name, count in failing.iter_rows() if count == 1][:9]
    sets = {
        name: ("silica", "chloride+scale", "tds")[n // 3 if n < 6 else 2]
        for n, name in enumerate(alone)
    }

    def with_sets(named: dict[str, str]) -> pl.DataFrame:
        own = pl.col("serial").replace_strict(named, default=None, return_dtype=pl.String)
        waters = context.waters.with_columns(needs=pl.coalesce(own, "needs"))
        return adjusted_regions(
            context.failures, days_in_bands(water_stretches(replace(context, waters=waters)))
        )

    assert with_sets(sets).equals(with_sets(dict.fromkeys(sets, "one")))
    five = dict.fromkeys(alone[:5], "silica") | dict.fromkeys(alone[5:], "tds")
    assert not with_sets(five).equals(with_sets(dict.fromkeys(five, "one")))


def with_p_values(p: list[float], *, thin: int = 0) -> pl.DataFrame:
    """Regions with these adjusted p-values, the first `thin` of them thin."""
    return pl.DataFrame(
        {"adjusted_p_value": p, "thin": [place < thin for place in range(len(p))]},
        schema={"adjusted_p_value": pl.Float64, "thin": pl.Boolean},
    )


def test_adjusted_q_values_are_benjamini_and_hochbergs() -> None:
    """The 15 p-values of Benjamini & Hochberg (1995); thin regions do not count among them."""
    folder = Path(__file__).parents[2] / "published" / "field"
    with (folder / "fdr_bh1995_expected.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    p = [float(row["p"]) for row in rows]
    expected = [float(row["bh_adjusted"]) for row in rows]
    assert len(p) == 15
    assert adjusted_q_values(with_p_values(p)).to_list() == pytest.approx(expected, rel=1e-6)
    told = adjusted_q_values(with_p_values([0.0001, *p, None], thin=1)).to_list()
    assert told[0] is None
    assert told[-1] is None
    assert told[1:-1] == pytest.approx(expected, rel=1e-6)


def test_only_the_adjusted_ratio_flags() -> None:
    """Crude ratios far out flag nobody; a region that fails more at equal water is flagged.

    Twenty regions, half of them in hard water: what lies far out is the water's doing.
    """
    context = fleet(2, units=3000)
    north = pl.col("region") == "US-ME"
    split = replace(
        context,
        **{
            name: getattr(context, name).with_columns(
                region=pl.format(
                    "{}{}",
                    pl.when(north).then(pl.lit("N")).otherwise(pl.lit("S")),
                    pl.col("serial").str.slice(-1),
                )
            )
            for name in ("units", "failures", "waters")
        },
    )
    by_water = regions(split).filter(pl.col("event") == "any")
    assert by_water.height == 20
    assert (by_water["crude_ratio"] - 1).abs().max() > 0.2
    assert not by_water["flagged"].any()
    assert by_water["direction"].null_count() == by_water.height
    context = fleet(8)
    kept = pl.col("region").eq("US-ME") | (pl.int_range(pl.len()) % 3 > 0)
    blamed = regions(replace(context, failures=context.failures.filter(kept))).sort("region")
    assert blamed["flagged"].all()
    assert blamed["direction"].to_list() == ["above"] * 2 + ["below"] * 2
    for row in blamed.iter_rows(named=True):
        assert (row["adjusted_ratio"] > 1) == (row["direction"] == "above")
        assert row["adjusted_p_value"] <= row["adjusted_q_value"] <= 0.1


@pytest.mark.parametrize(("shared", "confounded"), [(0.09, True), (0.11, False)])
def test_a_region_is_confounded_below_a_tenth_of_common_time(shared, confounded) -> None:
    """Only cells of needs and family in which the others have as much time count as common."""
    rows = [
        ("A", "scale", "Force", 1000 * (1 - shared)),
        ("A", "none", "Force", 1000 * shared),
        ("B", "none", "Force", 1000.0),
        ("B", "scale", "Force", 800.0),  # some, and less than A
        ("B", "scale", "Beck", 5000.0),  # another family
    ]
    days = pl.DataFrame(rows, schema=["region", "needs", "family", "y"], orient="row")
    told = dict(overlap(days).iter_rows())
    assert told["A"] == pytest.approx(shared)
    assert (told["A"] < LEAST_OVERLAP) == confounded
    assert told["B"] == pytest.approx(800 / 6800)


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
    parted = replace(
        context,
        units=context.units.with_columns(profile=own),
        failures=context.failures.with_columns(profile=own),
        states=context.states.with_columns(profile=own),
        waters=context.waters.with_columns(needs=own),
    )
    rows = regions(parted)
    assert rows["adjusted_ratio"].null_count() == rows.height
    assert set(rows["note"]) == {"region and water hardly overlap here: no method can part them"}
    assert rows["confounded"].all()
    assert not rows["flagged"].any()


def test_one_region_is_compared_with_nothing() -> None:
    """A single region has its rate and no ratio limits, and says so."""
    context = fleet(4, units=200)
    alone = replace(
        context,
        **{
            name: getattr(context, name).with_columns(region=pl.lit("US-ME"))
            for name in ("units", "failures", "states", "waters")
        },
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
    waits = costs(context, ("family",)).select("pending", "pending_low", "pending_high")
    assert set(waits.rows()) == {(Decimal("0.00"),) * 3}
    assert set(forecast(context, ())["note"]) == {
        "cannot be estimated, because there was no failure"
    }


def test_the_forecast_of_a_year_ago_covers_what_happened() -> None:
    """With a constant rate, most of last year's months fall inside their 95 % intervals."""
    inside = []
    for seed in range(6):
        table = forecast(fleet(10 + seed), ()).filter(pl.col("basis") == "installed")
        past = table.filter(pl.col("as_of") == dt.date(2025, 6, 30))
        assert past.height == 12
        assert past["actual"].null_count() == 0
        assert past["actual"].max() > 1
        assert past["actual_cost"].to_list() == pytest.approx(
            [count * 150.10 for count in past["actual"]]
        )
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
    coming = (
        forecast(context, ())
        .filter(pl.col("as_of") == AS_OF, pl.col("basis") == "installed")
        .sort("month")
    )
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
