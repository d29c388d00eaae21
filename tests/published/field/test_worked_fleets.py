"""Small fleets that can be checked with pencil, through watch, states and figures.

The data sets, their sources and tolerances stand in `README.md` beside this file. Where they end
an exposure at the last observed day, the product's half-open watch ends a day later, for it counts
that day too; ages and counts are the same.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import lifelines
import numpy as np
import polars as pl
import pytest

from pipelines.field import counted_episodes, mean_cumulative, risk_sets
from pipelines.field.adjustment import adjusted_regions, days_in_bands
from pipelines.field.context import FieldContext
from pipelines.field.figures import figure
from pipelines.field.poisson import rate_ratio
from pipelines.field.preparation import prepare
from pipelines.field.rates import rates
from pipelines.field.reporting_lag import lag_law, share_reported
from pipelines.field.treatment import treatment_effect
from pipelines.field.weibull import Lives, Times, fit_weibull
from pipelines.units.kaplan_meier import kaplan_meier
from pipelines.units.time_at_risk import doubtful_exposure, failures_inside, time_at_risk
from pipelines.units.treatment_states import treatment_states

HERE = Path(__file__).parent
AS_OF = dt.date(2025, 6, 30)
DAY = dt.timedelta(days=1)
NONE = pl.lit(None, pl.Date)
CAUSES = pl.DataFrame(
    {
        "cause": ["water", "electrical", "mechanical"],
        "class": ["scale", "electrical", "mechanical"],
        "water_related": [True, False, False],
    }
)
NO_DUPLICATES = pl.DataFrame(schema={"claim": pl.String})
NOTHING_PAYABLE = pl.DataFrame(
    schema={"claim": pl.String}
    | {f"{line}_payable": pl.Decimal(18, 2) for line in ("parts", "labor", "travel")}
)


def read(name: str) -> pl.DataFrame:
    return pl.read_csv(HERE / f"{name}.csv", infer_schema_length=None, try_parse_dates=True)


def close(actual, expected) -> None:
    np.testing.assert_allclose(
        np.asarray(actual, dtype=float), np.asarray(expected, dtype=float), rtol=1e-6, atol=1e-9
    )


def calls_of(events: pl.DataFrame) -> pl.DataFrame:
    """Repair calls of serial, date, cause, reported on the day."""
    return events.select(
        call=pl.format("C{}", pl.int_range(pl.len())),
        claim=pl.format("K{}", pl.int_range(pl.len())),
        kind=pl.lit("repair"),
        serial="serial",
        failed_on="date",
        opened_on="date",
        claimed_on="date",
        cause="cause",
        part=pl.lit(None, pl.String),
        agency=pl.lit(None, pl.String),
        labor_hours=pl.lit(None, pl.Decimal(18, 10)),
    )


@pytest.fixture(scope="module")
def mini() -> tuple[pl.DataFrame, pl.DataFrame, FieldContext]:
    """Watch, failures and context of the hand-made warranty fleet."""
    start = pl.col("in_service")
    end = start.dt.offset_by(pl.concat_str(pl.col("warranty_months"), pl.lit("mo")))
    units = read("mini_warranty_units").select(
        "serial",
        family="group",
        region=pl.lit("US-ME"),
        water_profile=pl.lit("scale-forming"),
        clock_source=pl.lit("installed_on"),
        shipped_on=start,
        installed_on=start,
        retired_on=NONE,
        clock_start=start,
        parts_base_end=end,
        labor_base_end=end,
        parts_extended_end=end,
        labor_extended_end=end,
        requested_in_time=pl.lit("not met"),
        startup_completed_on=NONE,
        conditions_off=pl.lit([], pl.List(pl.String)),
    )
    watch = time_at_risk(units, AS_OF)
    calls = calls_of(read("mini_warranty_events"))
    failures = failures_inside(watch, calls, CAUSES, NO_DUPLICATES)
    histories = units.join(watch, on="serial")
    states = watch.filter(pl.col("watched_days") > 0).select(
        "serial",
        from_day="watched_from",
        until_day="watched_until",
        state=pl.lit("untreated"),
    )
    doubtful = doubtful_exposure(units, watch, calls, NO_DUPLICATES, AS_OF)
    return (
        watch,
        failures,
        prepare(histories, failures, NOTHING_PAYABLE, states, doubtful, AS_OF),
    )


def test_each_unit_of_the_hand_made_fleet_is_watched_and_counted_as_by_pencil(mini) -> None:
    """Last covered and observed day, claims, their ages and causes, unit by unit."""
    watch, failures, _ = mini
    told = {row["serial"]: row for row in watch.iter_rows(named=True)}
    expected = read("mini_warranty_expected_units")
    assert expected.height > 5
    for row in expected.iter_rows(named=True):
        unit, own = told[row["serial"]], failures.filter(pl.col("serial") == row["serial"])
        if row["last_observed_day"] == "not used":
            assert unit["watched_days"] == 0
            assert unit["watched_from"] is None
        else:
            assert unit["coverage_end"] - DAY == dt.date.fromisoformat(str(row["last_covered_day"]))
            assert str(unit["watched_until"] - DAY) == str(row["last_observed_day"])
            assert unit["watched_days"] == row["exposure_days"] + 1
        assert own.height == row["claims_counted"]
        ages = own.sort("age").select(pl.format("{}:{}", "age", "cause")).to_series()
        assert ";".join(ages) == (row["claim_ages_and_causes"] or "")


def test_what_does_not_count_of_the_hand_made_fleet_is_left_out_for_its_reason(mini) -> None:
    """Units without a usable start, and events before the start, past cover or of no unit."""
    watch, failures, _ = mini
    expected = dict(read("mini_warranty_expected_exclusions").iter_rows())
    unwatched = watch.filter(pl.col("watched_days") == 0)
    unusable = sum(count for reason, count in expected.items() if reason.startswith("unit_"))
    assert unwatched.height == unusable
    events = read("mini_warranty_events")
    left_out = sum(count for reason, count in expected.items() if reason.startswith("event_"))
    assert events.height - failures.height == left_out
    placed = events.join(watch, on="serial", how="left")
    assert placed["watched_days"].is_null().sum() == expected["event_unknown_serial"]
    of_unused = placed.filter(pl.col("watched_days") == 0)
    assert of_unused.height == expected["event_unit_not_usable"]
    early, late = pl.col("date") < pl.col("watched_from"), pl.col("date") >= pl.col("watched_until")
    assert placed.filter(early).height == expected["event_before_in_service"]
    assert placed.filter(late).height == sum(
        expected[f"event_{reason}"] for reason in ("after_warranty_end", "after_as_of")
    )


def test_rates_of_the_hand_made_fleet(mini) -> None:
    """Counts, units, unit-years and exact limits by group, on the half-open exposure."""
    *_, context = mini
    table = pl.concat([rates(context, ("family",)), rates(context, ())])
    told = {row["family"]: row for row in table.iter_rows(named=True)}
    expected = read("mini_warranty_expected_groups")
    assert expected.height > 1
    for row in expected.iter_rows(named=True):
        own = told["all" if row["group"] == "ALL" else row["group"]]
        days = row["unit_days"] + row["units"]
        assert (own["failures"], own["units"]) == (row["claims"], row["units"])
        close(own["unit_years"], days / 365.25)
        shorter = row["unit_days"] / days
        close(
            [own["rate_per_100"], own["low"], own["high"]],
            [row[name] * shorter for name in ("claims_per_100_unit_years", "exact_lo", "exact_hi")],
        )


def test_survival_and_mean_count_of_the_hand_made_fleet_by_the_estimators(mini) -> None:
    """At 365.25 days, at risk to the age of the last observed day, as the example has it."""
    watch, failures, context = mini
    names = context.units.select("serial", "family", "unit")
    rows = watch.filter(pl.col("watched_days") > 0).join(names, on="serial").sort("unit")
    expected = read("mini_warranty_expected_groups")
    assert expected.height > 1
    for row in expected.iter_rows(named=True):
        own = rows if row["group"] == "ALL" else rows.filter(pl.col("family") == row["group"])
        own = own.with_row_index("place")
        nobody = np.zeros(own.height, np.int64)
        stretches = risk_sets.Episodes(
            nobody, np.arange(own.height), nobody, own["watched_days"].to_numpy() - 1
        )
        happened = failures.join(own.select("serial", "place"), on="serial")
        grid = risk_sets.AgeGrid(1)
        mean = mean_cumulative.mean_cumulative(
            counted_episodes.CountedEpisodes(grid, stretches),
            counted_episodes.Events(
                happened["place"].to_numpy().astype(np.int64),
                happened["age"].to_numpy(),
                np.ones(happened.height),
            ),
        )
        close(mean.value[0, 365], row["mcf_all_causes_365.25d"])
        water = happened.filter(pl.col("water_related"))
        first = np.full(own.height, 10**6)
        np.minimum.at(first, water["place"].to_numpy(), water["age"].to_numpy())
        ends = risk_sets.FirstEvents.of(stretches, first)
        cut = grid.until(ends, stretches, grid.counts(stretches))
        curve = kaplan_meier(cut.at_risk, cut.events)
        close(curve.value[0, 365], row["water_km_survival_365.25d"])


def test_survival_and_mean_count_of_the_hand_made_fleet_in_the_figures(mini) -> None:
    """At 12 months, at risk those watched for at least so many days: worked out by hand.

    No source but a pencil: of five units two fail on day 0; of the four watched for 364 days or
    more two fail on day 364, and two on day 365, up to which all four are at risk.
    """
    *_, context = mini
    counted = figure(context, "repeat_failures", ()).filter(
        (pl.col("event") == "any") & (pl.col("months") == 12)
    )
    close(counted["mean_count"], [2 / 5 + 2 / 4 + 2 / 4])
    lasting = figure(context, "survival", ()).filter(
        (pl.col("event") == "water") & (pl.col("months").is_in([0, 11, 12]))
    )
    # M4 fails of water on day 0; then M2 and M3 on day 364, M1 and M7 on day 365.
    close(lasting["survival"], [4 / 5, 4 / 5, 0])


def test_immortal_time_counts_for_no_treatment() -> None:
    """Days before the installation are untreated ones: 0.96, where ever or never makes it 0.33."""
    rows = read("immortal_time_units")
    start = dt.date(2023, 1, 1)
    day = pl.lit(start) + pl.duration(days=pl.col("day"))
    followed = pl.lit(start) + pl.duration(days=pl.col("followed_to_day"))
    units = rows.select(
        "unit",
        serial="unit",
        family=pl.lit("Force"),
        region=pl.lit("US-ME"),
        water_profile=pl.lit("scale-forming"),
        needs=pl.lit(["scale"]),
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit(None, pl.String),
        watched_from=pl.lit(start),
        watched_until=followed,
        watched_days=pl.col("followed_to_day"),
        coverage_base_end=followed,
        coverage_end=followed,
        extended_on=NONE,
        startup_completed_on=NONE,
        retired_on=NONE,
        shipped_on=pl.lit(start),
    )
    fitted = rows.filter(pl.col("treated_at_day").is_not_null()).select(
        serial="unit",
        product=pl.lit("SOFT"),
        removes=pl.lit(["scale"]),
        active_from=pl.lit(start) + pl.duration(days=pl.col("treated_at_day")),
        months=pl.lit(None, pl.Int64),
    )
    covers = pl.DataFrame(
        schema={"serial": pl.String, "product": pl.String}
        | dict.fromkeys(("since", "due_on", "lasts_until", "next_on"), pl.Date)
    )
    states = treatment_states(units, fitted, covers)
    events = (
        rows.select(serial="unit", day=pl.col("claim_days").cast(pl.String).str.split(";"))
        .explode("day", empty_as_null=True, keep_nulls=True)
        .drop_nulls()
        .with_columns(pl.col("day").cast(pl.Int64))
        .select("serial", date=day, cause=pl.lit("water"))
    )
    failures = failures_inside(units, calls_of(events), CAUSES, NO_DUPLICATES)
    doubtful = pl.DataFrame(
        schema={"serial": pl.String, "unsound": pl.String, "days": pl.Int64, "failures": pl.Int64}
    )
    context = prepare(units, failures, NOTHING_PAYABLE, states, doubtful, start + 719 * DAY)
    table = treatment_effect(context, ()).filter(pl.col("event") == "any")
    told = {row["state"]: row for row in table.iter_rows(named=True)}
    expected = {row["split"]: row for row in read("immortal_time_expected").iter_rows(named=True)}
    for state, split in (
        ("untreated", "correct_untreated_time"),
        ("treated", "correct_treated_time"),
    ):
        assert told[state]["failures"] == expected[split]["claims"]
        close(told[state]["unit_years"], expected[split]["unit_days"] / 365.25)
        close(told[state]["rate_per_100"] / 36525, expected[split]["per_1000_unit_days"] / 1000)
    crude = figure(context, "treatment_ratios", ()).filter(
        (pl.col("event") == "any")
        & (pl.col("comparison") == "treated vs untreated")
        & (pl.col("method") == "crude")
    )
    close(crude["ratio"], (1 / 740) / (3 / 2140))
    naive = rate_ratio(1, 1440, 3, 1440).ratio
    assert naive < 0.34 < 0.9 < crude["ratio"][0]


def test_the_reporting_lag_and_what_it_completes() -> None:
    """The law of the lag and the rates by age that it completes, months standing for days."""
    claims, expected = read("reporting_lag_claims"), read("reporting_lag_rates_expected")
    last = 17
    first = dt.date(2024, 1, 1)
    seen = claims.filter(pl.col("report_month") <= last)
    days = [
        seen.select(pl.lit(first) + pl.duration(days=pl.col(name))).to_series()
        for name in ("event_month", "report_month")
    ]
    law = lag_law(*days, first + dt.timedelta(days=last))
    cdf = read("reporting_lag_distribution_expected")["cdf"]
    close(law[: len(cdf)], cdf)
    close(law[len(cdf) :], np.ones(len(law) - len(cdf)))
    known = read("reporting_lag_distribution")["cumulative"].to_numpy()
    shipped = read("reporting_lag_shipments")
    entered, units = shipped["in_service_month"].to_numpy(), shipped["units"].to_numpy()
    counted = dict(seen.group_by("age_month").len().iter_rows())
    assert expected.height > 5
    for row in expected.iter_rows(named=True):
        since = last - entered - row["age_month"]
        assert counted.get(row["age_month"], 0) == row["reported_claims"]
        for which, shares in (("known", known), ("estimated", law)):
            effective = (units * share_reported(shares, since)).sum()
            close(effective, row[f"effective_units_{which}_lag"])
            close(row["reported_claims"] / effective, row[f"adjusted_rate_{which}_lag"])


def test_a_region_in_easier_water_is_compared_at_equal_water() -> None:
    """Simpson's regions: the north looks three times better and is a third worse at equal water.

    The regression's ratio of north to south is `poisson_glm_rr` of the table.
    """
    cells = read("simpson_region_water").with_row_index("cell")
    each = 100  # as many units as there are unit-years, all of them in the first band of age
    exposed = cells.select(
        serial=pl.format("U{}", "cell"),
        region="region",
        needs="water",
        family=pl.lit("Force"),
        entry=pl.lit(0, pl.Int64),
        exit=pl.lit(each, pl.Int64),
    )
    shares = cells["unit_years"].cast(pl.Int64)
    exposed = pl.concat(
        [
            exposed[i : i + 1].join(pl.DataFrame({"number": np.arange(count)}), how="cross")
            for i, count in enumerate(shares)
        ]
    ).with_columns(serial=pl.format("{}-{}", "serial", "number"))
    failures = pl.concat(
        [
            exposed.filter(pl.col("serial").str.starts_with(f"U{i}-")).head(count)
            for i, count in enumerate(cells["claims"])
        ]
    ).with_columns(age=pl.lit(0, pl.Int64))
    days = days_in_bands(exposed.with_columns(site="serial").drop("cell", "number", strict=False))
    told = {row[0]: row[1:] for row in adjusted_regions(failures, days).iter_rows()}
    table = read("mh_expected").filter(pl.col("dataset").str.starts_with("simpson"))
    ratio = told["North"][0] / told["South"][0]
    np.testing.assert_allclose(ratio, table["poisson_glm_rr"][0], rtol=1e-5)
    assert ratio > 1 > table["crude"][0]


@pytest.mark.parametrize("seed", [1, 2])
def test_survival_and_weibull_agree_with_lifelines(seed: int) -> None:
    """Delayed entry, ties and censoring at random, beside a second reference library."""
    random = np.random.default_rng(seed)
    life = np.ceil(random.weibull(1.4, 300) * 700).astype(np.int64)
    entry = random.integers(0, 200, 300) * (random.random(300) < 0.4)
    kept = life > entry
    life, entry = life[kept], entry[kept].astype(np.int64)
    end = np.minimum(life, entry + random.integers(100, 1500, len(life)))
    failed = end == life
    theirs = lifelines.KaplanMeierFitter().fit(end, failed, entry=entry)
    nobody = np.zeros(len(end), np.int64)
    grid = risk_sets.AgeGrid(1, int(end.max()) + 1)
    # lifelines has a unit at risk after its entry, this product from its entry on.
    spans = risk_sets.Episodes(nobody, np.arange(len(end)), entry + (entry > 0), end)
    events = grid.tally(nobody[failed], end[failed])
    ours = kaplan_meier(grid.at_risk(spans), events)
    days = np.unique(end[failed])
    close(ours.value[0, days], theirs.survival_function_at_times(days))
    if not entry.any():
        close(ours.low[0, days], theirs.confidence_interval_.loc[days].iloc[:, 0])
    fit = fit_weibull(
        Lives(
            failed=Times(end[failed].astype(float), np.ones(failed.sum())),
            running=Times(end[~failed].astype(float), np.ones((~failed).sum())),
            entered=Times(entry[entry > 0].astype(float), np.ones((entry > 0).sum())),
        )
    )
    theirs = lifelines.WeibullFitter().fit(end, failed, entry=entry)
    np.testing.assert_allclose([fit.scale, fit.shape], [theirs.lambda_, theirs.rho_], rtol=1e-4)
