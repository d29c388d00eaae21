"""Known truths, drawn a hundred times: adjusted figures cover them and naive ones miss.

Source: common practice, no source. The north has most of the hard water, which alone breaks
machines, so that no region is to blame; treatment halves the failures from the day on which it is
fitted.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipelines.field.adjustment import adjusted_regions, days_in_bands
from pipelines.field.context import FieldContext
from pipelines.field.episodes import water_stretches
from pipelines.field.figures import figure
from pipelines.field.poisson import garwood_limits, rate_ratio
from pipelines.field.preparation import prepare

RUNS = 100
UNITS = 900
DAYS = 730
START = dt.date(2023, 1, 1)
AS_OF = START + dt.timedelta(days=DAYS - 1)
HARD, SOFT = 0.8, 0.25  # failures a unit-year
HALVED = 0.5


def drawn(seed: int) -> tuple[FieldContext, pl.DataFrame]:
    """A fleet and, one row a unit, the age at which its treatment came (null: never)."""
    random = np.random.default_rng([2026, seed])
    north = random.random(UNITS) < 0.5
    hard = random.random(UNITS) < np.where(north, 0.8, 0.2)
    fitted_at = np.where(hard & (random.random(UNITS) < 0.6), random.integers(60, 600, UNITS), DAYS)
    count = random.poisson(np.where(hard, HARD, SOFT) * DAYS / 365.25)
    owner = np.repeat(np.arange(UNITS), count)
    age = random.integers(0, DAYS, len(owner))
    # Thinning: half of what would have happened after the treatment does not.
    happens = (age < fitted_at[owner]) | (random.random(len(owner)) < HALVED)
    owner, age = owner[happens], age[happens]
    end = pl.lit(AS_OF + dt.timedelta(days=1))
    units = pl.DataFrame(
        {
            "serial": [f"U{i:04d}" for i in range(UNITS)],
            "region": np.where(north, "US-ME", "US-OR"),
            "water_profile": np.where(hard, "scale-forming", "within limits"),
            "fitted_at": np.where(fitted_at < DAYS, fitted_at, -1),
        }
    ).with_columns(
        pl.when(pl.col("fitted_at") >= 0).then("fitted_at").alias("fitted_at"),
        family=pl.lit("Force"),
        watched_from=pl.lit(START),
        watched_until=end,
        watched_days=pl.lit(DAYS, pl.Int64),
        coverage_base_end=end,
        coverage_end=end,
        extended_on=pl.lit(None, pl.Date),
        shipped_on=pl.lit(START),
        retired_on=pl.lit(None, pl.Date),
        startup_completed_on=pl.lit(None, pl.Date),
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit(None, pl.String),
    )
    fitted_on = pl.col("watched_from") + pl.duration(days=pl.col("fitted_at"))
    before = units.select(
        "serial",
        from_day="watched_from",
        until_day=pl.coalesce(fitted_on, "watched_until"),
        state=pl.when(pl.col("water_profile") == "within limits")
        .then(pl.lit("not needed"))
        .otherwise(pl.lit("untreated")),
    )
    after = units.filter(pl.col("fitted_at").is_not_null()).select(
        "serial", from_day=fitted_on, until_day="watched_until", state=pl.lit("treated")
    )
    day = pl.lit(START) + pl.duration(days=pl.col("age"))
    failures = pl.DataFrame({"serial": units["serial"].gather(owner), "age": age}).select(
        call=pl.format("C{}", pl.int_range(pl.len())),
        claim=pl.lit(None, pl.String),
        serial="serial",
        failed_on=day,
        age="age",
        cause=pl.lit("SCALED"),
        cause_class=pl.lit("scale"),
        water_related=pl.lit(True),
        opened_on=day,
        claimed_on=pl.lit(None, pl.Date),
        agency=pl.lit("A"),
        labor_hours=pl.lit(None, pl.Decimal(18, 10)),
    )
    money = {f"{line}_payable": pl.Decimal(18, 2) for line in ("parts", "labor", "travel")}
    doubtful = {"serial": pl.String, "unsound": pl.String, "days": pl.Int64, "failures": pl.Int64}
    context = prepare(
        units,
        failures,
        pl.DataFrame(schema={"claim": pl.String} | money),
        pl.concat([before, after]),
        pl.DataFrame(schema=doubtful),
        AS_OF,
        units.select(
            "serial",
            from_on="watched_from",
            until_on="watched_until",
            sample=pl.lit("S"),
            severity=pl.lit("normal"),
            needs="water_profile",
        ),
    )
    return context, units.select("serial", "fitted_at")


def naive_region(context: FieldContext) -> tuple[float, float, float]:
    """Failures of the north over those expected at the overall rate, with exact limits."""
    days = context.units.group_by("region").agg(pl.col("watched_days").sum()).sort("region")
    failed = (context.failures["region"] == "US-ME").sum()
    expected = context.failures.height * days["watched_days"][0] / days["watched_days"].sum()
    low, high = garwood_limits(np.array([failed]))
    return failed / expected, low[0] / expected, high[0] / expected


def naive_treatment(context: FieldContext, fitted: pl.DataFrame) -> tuple[float, float, float]:
    """Units ever treated against those never, whole lives: time before it counts as treated."""
    hard = context.units.filter(pl.col("profile") == "scale-forming").join(fitted, on="serial")
    ever = hard.filter(pl.col("fitted_at").is_not_null())
    never = hard.filter(pl.col("fitted_at").is_null())
    sides = [
        (context.failures.join(side, on="serial", how="semi").height, side.height * DAYS)
        for side in (ever, never)
    ]
    return tuple(rate_ratio(*sides[0], *sides[1]))


@pytest.fixture(scope="module")
def estimates() -> dict[str, np.ndarray]:
    """Ratio and limits (runs x 3) of each way of estimating."""
    found: dict[str, list[tuple[float, float, float]]] = {}
    for seed in range(RUNS):
        context, fitted = drawn(seed)
        days = days_in_bands(water_stretches(context))
        adjusted = adjusted_regions(context.failures, days).sort("region").row(0)
        ratios = figure(context, "treatment_ratios", ()).filter(
            (pl.col("event") == "any") & (pl.col("comparison") == "treated vs untreated")
        )
        by_method = {row["method"]: row for row in ratios.iter_rows(named=True)}
        for name, told in {
            "naive region": naive_region(context),
            "adjusted region": adjusted[1:4],
            "naive treatment": naive_treatment(context, fitted),
            **{
                f"treatment by {method}": (row["ratio"], row["low"], row["high"])
                for method, row in by_method.items()
                if method != "crude"
            },
        }.items():
            found.setdefault(name, []).append(told)
    return {name: np.array(rows, dtype=float) for name, rows in found.items()}


def covered(rows: np.ndarray, truth: float) -> int:
    return int(((rows[:, 1] <= truth) & (truth <= rows[:, 2])).sum())


@pytest.mark.parametrize(
    ("subject", "truth", "sound"),
    [
        ("region", 1.0, ["adjusted region"]),
        ("treatment", HALVED, ["treatment by mantel_haenszel", "treatment by cox"]),
    ],
)
def test_the_truth_is_covered_by_sound_figures_and_missed_by_naive_ones(
    estimates: dict[str, np.ndarray], subject: str, truth: float, sound: list[str]
) -> None:
    """95 % limits hold the truth in 90 to 100 of 100 fleets; naive ones in less than half."""
    for name in (f"naive {subject}", *sound):
        rows = estimates[name]
        print(f"{name}: mean {rows[:, 0].mean():.3f}, truth {truth}, {covered(rows, truth)} of 100")
    for name in sound:
        assert covered(estimates[name], truth) >= 90
        assert estimates[name][:, 0].mean() == pytest.approx(truth, rel=0.03)
    naive = estimates[f"naive {subject}"]
    assert covered(naive, truth) < 50
    assert abs(naive[:, 0].mean() / truth - 1) > 0.2
