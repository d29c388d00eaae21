"""The way of a unit, and how long its steps take, by hand and against published curves."""

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from pipelines.startups.journey_rates import _of_group, journey_rates
from schemas.columns import polars_schema
from schemas.startups import Journeys
from tests.unit.startups.startup_bench import INSTALL, ORDER, REPORT, TERMS, TEST, UNIT, tables

DAY = dt.date
LATER = DAY(2030, 1, 1)
KM_UNITS = Path(__file__).parents[2] / "published" / "field" / "km_units.csv"


def journey(tmp_path, **given) -> dict:
    """The journey of U1."""
    [row] = tables(tmp_path, **given)["journeys"].to_dicts()
    return row


def test_every_step_has_its_day(tmp_path):
    """From the purchase to the treatment that lapses, and not a day more than is on file."""
    row = journey(
        tmp_path,
        startups=[REPORT],
        water_tests=[TEST],
        treatment_purchases=[ORDER],
        service_calls=[INSTALL],
    )
    assert row["purchased"] == "2024-Q1"
    days = ("purchased_on", "requested_on", "completed_on", "sampled_on", "reported_on",
            "bought_on", "installed_on", "first_lapse_on")  # fmt: skip
    assert [row[name] for name in days] == [
        DAY(2024, 1, 10), DAY(2024, 1, 20), DAY(2024, 2, 1), DAY(2024, 2, 1), DAY(2024, 2, 9),
        DAY(2024, 2, 20), DAY(2024, 2, 26), DAY(2024, 9, 11),
    ]  # fmt: skip
    assert (row["requested_in_time"], row["installation"]) == ("met", "sound")
    assert row["needs_treatment"] is True


@pytest.mark.parametrize(
    ("as_of", "lapse"), [("2024-09-10", None), ("2024-09-11", DAY(2024, 9, 11))]
)
def test_a_lapse_is_told_from_its_first_day(tmp_path, as_of, lapse):
    """The cartridge of 26 February lasts to 10 September, grace included."""
    given = {"water_tests": [TEST], "treatment_purchases": [ORDER], "service_calls": [INSTALL]}
    assert journey(tmp_path, as_of=as_of, **given)["first_lapse_on"] == lapse


# Purchased on 10 January, 30 days to ask.
@pytest.mark.parametrize(
    ("requested", "outcome"),
    [("2024-02-08", "met"), ("2024-02-09", "met"), ("2024-02-10", "unmet")],
)
def test_a_request_is_in_time_up_to_the_last_day(tmp_path, requested, outcome):
    """Switched off it counts as met, as in the bonus; without terms it is null."""
    late = REPORT | {"requested_on": requested, "completed_on": "2024-03-01"}
    assert journey(tmp_path, startups=[late])["requested_in_time"] == outcome
    off = 'conditions_off = ["startup_requested_in_time"]\n' + TERMS
    assert journey(tmp_path, text=off, startups=[late])["requested_in_time"] == "met"
    early = UNIT | {"shipped_on": "2019-01-02", "purchased_on": "2019-01-10"}
    assert journey(tmp_path, units=[early], startups=[late])["requested_in_time"] is None


def test_the_first_report_names_the_agency(tmp_path):
    """Completed first, else requested first, then the least report."""

    def of(report, agency, requested, completed):
        return REPORT | {"report": report, "agency": agency, "requested_on": requested,
                         "completed_on": completed}  # fmt: skip

    done = [of("R1", "WEST", "2024-01-11", None), of("R3", "NORTH", "2024-01-20", "2024-02-01"),
            of("R2", "EAST", "2024-01-25", "2024-02-01")]  # fmt: skip
    assert journey(tmp_path, startups=done)["agency"] == "EAST"
    assert journey(tmp_path, startups=done[:2])["agency"] == "NORTH"
    asked = [of("R1", "WEST", "2024-01-12", None), of("R2", "EAST", "2024-01-11", None)]
    assert journey(tmp_path, startups=asked)["agency"] == "EAST"


def waits(rows: list[tuple[int, int | None]], **more) -> pl.DataFrame:
    """Journeys of units purchased on one day, requested after some days or never (None); the first
    number is the day on which each is followed last."""
    start = DAY(2024, 1, 1)
    schema = polars_schema(Journeys)
    frame = pl.DataFrame(
        {
            "serial": [f"U{n}" for n in range(len(rows))],
            "purchased_on": [start] * len(rows),
            "requested_on": [
                None if day is None else start + dt.timedelta(days=day) for _, day in rows
            ],
            "left_on": [start + dt.timedelta(days=last) for last, _ in rows],
        }
    ).with_columns(family=pl.lit("F"), purchased=pl.lit("2024-Q1"), **more)
    missing = [pl.lit(None, kind).alias(name) for name, kind in schema.items() if name not in frame]
    return frame.with_columns(missing).select(schema.names())


def rate(journeys: pl.DataFrame, as_of=LATER) -> dict:
    """The row of all units for the step from purchase to request."""
    return journey_rates(journeys, as_of).row(
        by_predicate=(pl.col("by") == "all") & (pl.col("step") == "requested"), named=True
    )


@pytest.mark.parametrize("group", ["6-MP", "placebo"])
def test_shares_agree_with_a_published_study(group):
    """6-MP against placebo (Freireich et al. 1963, Gehan 1965), as the data sets' README has it:
    shares and log-log limits at 30 days, where the curve of `km_expected.csv` stands."""
    units = pl.read_csv(KM_UNITS).filter((pl.col("study") == "gehan") & (pl.col("group") == group))
    rows = [(day, day if event else None) for day, event in units.select("time", "event").rows()]
    expected = (
        pl.read_csv(KM_UNITS.with_name("km_expected.csv"))
        .filter((pl.col("study") == "gehan") & (pl.col("group") == group) & (pl.col("time") <= 30))
        .sort("time")
        .row(-1, named=True)
    )
    found = rate(waits(rows))
    assert found["share_30"] == pytest.approx(1 - expected["survival"], rel=1e-6)
    if expected["survival"] > 0:
        assert found["share_30_low"] == pytest.approx(1 - expected["loglog_hi"], rel=1e-6)
        assert found["share_30_high"] == pytest.approx(1 - expected["loglog_lo"], rel=1e-6)
    assert found["median_days"] == {"6-MP": 23, "placebo": 8}[group]  # from memory: 23 and 8 weeks


@pytest.mark.parametrize(("longest", "share"), [(29, None), (30, 0.5), (31, 0.5)])
def test_a_share_is_told_up_to_the_longest_time(longest, share):
    """Beyond it the curve says nothing; a day counts itself."""
    found = rate(waits([(longest, 10), (longest, None)]))
    assert found["share_30"] == share
    assert (found["share_30_low"] is None) == (share is None)
    assert found["share_60"] is None


def test_all_come_down_to_nothing_is_known_for_ever():
    """Where all reached the step, later shares are 1; at 0 and 1 there are no limits."""
    found = rate(waits([(9, 40), (9, 41)]))
    assert [found[f"share_{days}"] for days in (30, 60, 180)] == [0.0, 1.0, 1.0]
    assert {found[f"share_{days}_low"] for days in (30, 60, 180)} == {None}
    assert found["median_days"] == 40  # the first day at a half or below


def test_a_step_before_the_one_it_is_counted_from_takes_no_time():
    """It counts as 0 days; so does a unit that left before."""
    found = rate(waits([(5, -3), (-2, None)]))
    assert (found["median_days"], found["reached"], found["units"]) == (0, 1, 2)
    assert found["share_30"] is None


@pytest.mark.parametrize(
    ("units", "reached", "thin"), [(9, 9, True), (10, 4, True), (10, 5, False)]
)
def test_few_units_or_few_that_reached_are_thin(units, reached, thin):
    """Fewer than 10 units or 5 that reached it."""
    rows = [(100, 5 if n < reached else None) for n in range(units)]
    assert rate(waits(rows))["thin"] == thin


def test_later_steps_count_units_with_needs_alone():
    """Bought and installed are asked of units whose water needs something."""
    start = DAY(2024, 1, 1)
    of = waits([(100, 1)] * 3).with_columns(
        reported_on=pl.lit(start), needs_treatment=pl.Series([True, False, None])
    )
    found = journey_rates(of, DAY(2024, 4, 1)).filter(pl.col("by") == "agency")
    told = dict(found.select("step", "units").iter_rows())
    assert told["bought"] == 1
    assert "installed" not in told  # nobody bought: no row
    assert found["value"].unique().to_list() == ["none"]


def test_shares_are_told_within_thirty_sixty_ninety_and_a_hundred_and_eighty_days():
    """The day itself counts: of ten units one a step on the 30th, 31st, 60th … 181st day."""
    days = [30, 31, 60, 61, 90, 91, 180, 181, 181, 181]
    counts = pl.DataFrame({"days": days, "units": 1, "reached": 1})
    counts = counts.group_by("days").agg(pl.col("units", "reached").sum()).sort("days")
    row = _of_group(("all", "all", "completed"), counts)
    shares = [row[f"share_{within}"] for within in (30, 60, 90, 180)]
    assert shares == pytest.approx([0.1, 0.3, 0.5, 0.7])
    assert row["median_days"] == 90
