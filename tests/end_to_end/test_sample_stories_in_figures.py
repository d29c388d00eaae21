"""The planted stories come out of the refreshed sample's figures, with sign and honest interval.

Agencies' stories are looked for where agencies are compared.
"""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from sample_data.stories import STORIES


@pytest.fixture(scope="module")
def figure(sample):
    """The rows of a published table that have the given words."""

    def rows(name: str, **words) -> pl.DataFrame:
        table = pl.read_parquet(sample[0] / "published" / "data" / f"{name}.parquet")
        return table.filter(*(pl.col(column) == word for column, word in words.items()))

    return rows


def test_a_region_is_not_blamed_for_its_water(figure) -> None:
    """Arizona fails half as often again as all; at equal water it does not stand out.

    Version 2 of the contract: what flags is the q-value of the ratio at equal water of the day.
    """
    story = STORIES["water_not_the_region"]
    row = figure("regions", region=story["region"], event=story["event"]).row(0, named=True)
    assert row["crude_ratio"] > story["crude_ratio_above"]
    assert row["low"] / row["rate_per_100"] * row["crude_ratio"] > 1  # not by chance
    assert row["adjusted_ratio"] < row["crude_ratio"]
    assert row["adjusted_q_value"] > story["false_discovery_rate"]
    assert not row["flagged"]
    assert row["direction"] is None


@pytest.mark.parametrize("method", ["mantel_haenszel", "cox"])
def test_treatment_kept_up_halves_water_caused_failures(figure, method: str) -> None:
    """The interval holds a half and leaves out 1; lapsed treatment does less than one kept up."""
    story = STORIES["treatment_kept_up"]
    words = {"by": "all", "event": story["event"], "method": method}
    row = figure("treatment_ratios", comparison=story["comparison"], **words).row(0, named=True)
    assert story["ratio_above"] < row["ratio"] < story["ratio_below"]
    assert row["low"] < 0.5 < row["high"] < 1
    assert figure("treatment_ratios", comparison="treated vs lapsed", **words)["high"][0] < 1


def test_one_quarter_of_one_family_fails_early_and_is_warned_of(figure) -> None:
    """By four months its boards have failed far more often than any other quarter's."""
    story = STORIES["early_batch"]
    words = {"family": story["family"], "cause_class": story["cause_class"]}
    cells = figure("cohorts", by="family,cause_class", months=story["months"], event="any", **words)
    ours = cells.filter(pl.col("cohort") == story["cohort"]).row(0, named=True)
    others = cells.filter((pl.col("cohort") != story["cohort"]) & ~pl.col("immature"))
    usual = (others["mean_per_100"] * others["units"]).sum() / others["units"].sum()
    assert ours["mean_low"] > story["ratio_to_other_cohorts_above"] * usual
    assert not ours["immature"]
    # Version 2 of the contract: an alarm lasts while the sum stands above its decision value.
    alarm = figure("alarms", by="family,cause_class", **words).row(0, named=True)
    last = dt.date.fromisoformat(f"{story['alarm_until']}-01")
    assert alarm["began"] < alarm["first_month"] <= last
    assert alarm["low"] > 1
    assert figure("screen", dimension="entry", value=story["cohort"], cause=story["cause"])[
        "flagged"
    ].all()


def test_a_membrane_alone_does_not_count_as_treatment_of_chloramine(figure) -> None:
    """Its chloramine is told as not removed, and its seals fail as those that nothing guards."""
    story = STORIES["chloramine_through_membrane"]
    units = figure("unit_histories").filter(
        pl.col("needs").list.contains("chloramine") & pl.col("watched_from").is_not_null()
    )
    passes = pl.col("treatment_unmet").list.contains("chloramine")
    alone = units.filter(passes & pl.col("membrane_keeps_up").is_not_null())
    guarded = units.filter(~passes)
    assert alone.height > 20
    assert alone["treatment_installed_on"].null_count() == alone.height
    failed = figure("decisions", cause=story["cause"])["serial"]

    def rate(chosen: pl.DataFrame) -> float:
        days = (chosen["watched_until"] - chosen["watched_from"]).dt.total_days().sum()
        return failed.is_in(chosen["serial"].implode()).sum() / days

    assert rate(alone) / rate(guarded) > story["rate_ratio_above"]


def test_membranes_fall_short_where_the_supply_is_cold(figure, sample) -> None:
    """Those that do not keep up in the coldest month stand where winters are cold."""
    story = STORIES["cold_winter"]
    regions = pl.read_csv(sample[0] / "reference" / "regions.csv")
    units = figure("unit_histories").drop_nulls("membrane_keeps_up").join(regions, on="region")
    cold = pl.col("coldest_supply_c") <= story["coldest_supply_c_at_most"]
    short = units.group_by(cold.alias("cold")).agg((~pl.col("membrane_keeps_up")).mean())
    told = dict(short.iter_rows())
    assert told[True] > 5 * told[False]


def test_the_forecast_of_a_year_ago_held_about_as_often_as_it_said(figure) -> None:
    """Of twelve months, 80 % intervals hold 7 or more and 95 % intervals 10 or more.

    Chances of fewer are 2 % each, were the intervals exactly right (binomial).
    """
    past = figure("forecast", by="all", basis="all").drop_nulls("actual")
    months = past.filter(pl.col("as_of") == pl.col("as_of").max())
    assert months.height == 12
    held = {
        level: months["actual"].is_between(months[f"low_{level}"], months[f"high_{level}"]).sum()
        for level in (80, 95)
    }
    assert held[80] >= 7
    assert held[95] >= 10
