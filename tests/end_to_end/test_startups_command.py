"""Start-ups by command and page, on the sample: states, stories, one unit."""

import io

import polars as pl
import pytest

from sample_data.stories import STORIES
from schemas import codes


@pytest.fixture(scope="module")
def listed(sample, run):
    """What `startups --json` gives."""
    call = run("startups", sample[0], "--json")
    assert call.code == 0, call.err
    return call.json


@pytest.fixture(scope="module")
def table(sample):
    """Reads a published table."""
    return lambda name: pl.read_parquet(sample[0] / "published" / "data" / f"{name}.parquet")


def test_the_sample_shows_every_result_and_every_state_but_one(listed):
    """Only nothing_serves is missing: its treatments serve every need. The second sample has it."""
    states = {row["state"] for row in listed["recommendations"]}
    assert states == {*codes.RECOMMENDATION_STATES} - {"nothing_serves"}
    assert {row["result"] for row in listed["reviews"]} == {*codes.REVIEW_RESULTS}


def test_one_agency_never_levels(listed):
    """Its reports are unsound for it, and few of the others'."""
    story = STORIES["never_levels"]

    def share(rows):
        found = [story["fault"] in (row["faults"] or "").split("; ") for row in rows]
        assert len(found) > 20
        return sum(found) / len(found)

    reviews = listed["reviews"]
    assert (
        share([r for r in reviews if r["agency"] == story["agency"]])
        > (story["share_unsound_above"])
    )
    assert share([r for r in reviews if r["agency"] != story["agency"]]) < 0.1


def test_the_samples_of_one_region_wait(table):
    """Half of its results take weeks, those of every other region days."""
    story = STORIES["samples_wait"]
    rates = table("journey_rates").filter(
        (pl.col("by") == "region") & (pl.col("step") == story["step"]) & ~pl.col("thin")
    )
    median = dict(rates.select("value", "median_days").iter_rows())
    assert median.pop(story["region"]) > story["median_days_above"]
    assert len(median) > 20
    assert max(median.values()) < story["others_median_days_below"]


def test_states_and_results_can_be_asked_for(sample, run, listed):
    """As rows, as CSV and in sentences; another word is a wrong call."""
    overdue = [r for r in listed["recommendations"] if r["state"] == "overdue"]
    call = run("startups", sample[0], "--state", "overdue", "--json")
    assert call.json == {"reviews": [], "recommendations": overdue}
    csv = run("startups", sample[0], "--state", "unsound", "--csv")
    unsound = [r for r in listed["reviews"] if r["result"] == "unsound"]
    assert pl.read_csv(io.StringIO(csv.out), infer_schema=False).height == len(unsound) > 0
    text = run("startups", sample[0]).out
    assert f"{len(overdue):,} overdue" in text
    assert overdue[0]["sentence"] in text
    kept = [r["sentence"] for r in listed["recommendations"] if r["state"] == "kept_up"]
    assert kept[0] not in text
    assert kept[0] in run("startups", sample[0], "--state", "kept_up").out
    sound = next(r for r in listed["reviews"] if r["latest"] and r["result"] == "sound")
    assert sound["sentence"] in run("startups", sample[0], "--state", "sound").out
    wrong = run("startups", sample[0], "--state", "late")
    assert (wrong.code, wrong.out) == (2, "")
    assert "kept_up" in wrong.err


def test_a_unit_is_told_however_its_serial_is_typed(sample, run, listed):
    """With reviews, tests, recommendation and what else is on file of it."""
    serial = next(r["serial"] for r in listed["recommendations"] if r["state"] == "lapsed")
    call = run("unit", f"{serial[:3]}-{serial[3:]}".lower(), sample[0], "--json")
    assert call.code == 0, call.err
    assert call.json["serial"] == serial
    assert call.json["recommendation"]["state"] == "lapsed"
    assert any(test["complete"] for test in call.json["tests"])
    days = [event["day"] for event in call.json["events"]]
    assert days == sorted(days)
    assert len(days) > 3
    text = run("unit", serial, sample[0]).out
    assert call.json["recommendation"]["sentence"] in text


def test_an_unknown_unit_is_not_found_with_the_nearest(sample, run, listed):
    """Exit code 4, and the serial that was meant is named."""
    serial = listed["reviews"][0]["serial"]
    call = run("unit", f"{serial[:-1]}0", sample[0])
    assert (call.code, call.out) == (4, "")
    assert serial in call.err


def test_the_page_opens_the_units_behind_its_counts(sample, listed):
    """After Morning; its counts are those of the tables."""
    page = (sample[0] / "published" / "startups.html").read_text(encoding="utf-8")
    menu = page[page.index('aria-label="Pages"') :]
    assert menu.index("index.html") < menu.index("startups.html") < menu.index("field.html")
    overdue = sum(r["state"] == "overdue" for r in listed["recommendations"])
    assert f'<a href="#advised?state=overdue">{overdue:,}</a>' in page


def test_rates_are_cut_by_the_installation_of_the_day(table):
    """Alone and with the class of the cause, and in every failure's line."""
    rates = table("slice_rates")
    alone = rates.filter((pl.col("by") == "installation") & (pl.col("event") == "any"))
    assert set(alone["value_1"]) == {*codes.REVIEW_RESULTS, "none"}
    assert "installation,cause_class" in rates["by"].unique().to_list()
    failures = table("field_failures")
    assert failures.height == alone["failures"].sum() > 0
    assert set(failures["installation"]) <= set(alone["value_1"])


def test_the_register_knows_of_units_that_were_told_before(table, listed):
    """One entry a unit that is unsound or to be treated; the first refresh writes to nobody."""
    letters = table("letters").filter(pl.col("claim").is_null())
    assert set(letters["state"]) == {"told_before"}
    of_water = letters.filter(pl.col("kind") == "recommendation")
    told = {"open", "overdue", "unsuitable", "bought", "lapsed"}
    assert set(of_water["serial"]) == {
        row["serial"] for row in listed["recommendations"] if row["state"] in told
    }
    unsound = {row["serial"] for row in listed["reviews"] if row["latest"] and row["faults"]}
    assert unsound <= set(letters.filter(pl.col("kind") == "installation")["serial"])


def test_a_start_up_that_nobody_asked_for_is_not_told_as_late(sample, run, table):
    """Without a request on file none was asked for in time, neither early nor late."""
    silent = table("journeys").filter(
        pl.col("requested_on").is_null() & (pl.col("requested_in_time") == "unmet")
    )
    text = run("unit", silent["serial"][0], sample[0]).out
    assert "The start-up was not asked for in time." in text
