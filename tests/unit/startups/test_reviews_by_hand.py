"""Reviews of start-up reports at every boundary.

The limits are those of the bench: flowing pressure 30 to 60 psi (common practice, no source),
natural gas 4 to 10, propane 10 to 13 inches of water.
"""

import datetime as dt

import polars as pl
import pytest

from pipelines.startups.installation_findings import _outcome
from pipelines.startups.installation_spans import installation_spans, with_installation
from tests.unit.coverage import bench
from tests.unit.startups.startup_bench import INSTALL, REPORT, TERMS, TEST, UNIT, outcomes, tables


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        ("29.9", "unsound"),
        ("30", "sound"),
        ("60", "sound"),
        ("60.1", "unsound"),
        (None, "not_reported"),
    ],
)
def test_a_number_is_sound_within_its_limits(tmp_path, value, outcome):
    """Bounds included."""
    report = REPORT | {"flowing_pressure_psi": value}
    assert outcomes(tmp_path, startups=[report])["flowing_pressure_psi"] == outcome


def test_a_static_pressure_stands_for_no_flowing_one(tmp_path):
    """The sentence says so; without any pressure it does not."""
    only = REPORT | {"flowing_pressure_psi": None, "static_pressure_psi": "55"}
    none = REPORT | {"report": "R2", "flowing_pressure_psi": None}
    found = tables(tmp_path, startups=[only, none])["installation_findings"]
    said = dict(
        found.filter(pl.col("reading") == "flowing_pressure_psi")
        .select("report", "sentence")
        .iter_rows()
    )
    assert "only the static pressure was written down" in said["R1"]
    assert said["R2"] == "The flowing water pressure is not reported."


@pytest.mark.parametrize(
    ("gas", "pressure", "outcome"),
    [
        ("natural", "10", "sound"),
        ("natural", "10.1", "unsound"),
        ("propane", "10", "sound"),
        ("propane", "9.9", "unsound"),
        ("natural", None, "not_reported"),
        ("none", "10", None),
        (None, "10", None),
    ],
)
def test_gas_pressure_takes_the_limit_of_the_reports_gas(tmp_path, gas, pressure, outcome):
    """With gas none or empty there is no row, also where it must be reported."""
    must = TERMS.replace('["flowing', '["gas_pressure_in_wc", "flowing')
    report = REPORT | {"gas": gas, "gas_pressure_in_wc": pressure}
    found = outcomes(tmp_path, text=must, startups=[report])
    assert found.get("gas_pressure_in_wc") == outcome


def test_a_gas_without_limit_has_a_row_where_it_must_be_reported(tmp_path):
    """Then it is only reported, as are the gas and the sample."""
    no_limit = TERMS.replace("limits.gas_pressure_in_wc.propane = { min = 10, max = 13 }", "")
    must = no_limit.replace('["flowing', '["gas", "gas_pressure_in_wc", "flowing')
    report = REPORT | {"gas": "propane", "gas_pressure_in_wc": "30"}
    assert "gas_pressure_in_wc" not in outcomes(tmp_path, text=no_limit, startups=[report])
    found = outcomes(tmp_path, text=must, startups=[report])
    assert {found[name] for name in ("gas", "gas_pressure_in_wc", "sample_taken")} == {"reported"}


@pytest.mark.parametrize(
    ("gas", "hood", "outcome"),
    [
        ("natural", "yes", "sound"),
        ("natural", "no", "unsound"),
        ("propane", "no", "unsound"),
        ("none", "no", "to_check"),
        (None, "no", "to_check"),
        ("natural", None, None),
    ],
)
def test_a_hood_is_needed_over_gas_and_else_the_local_code_says(tmp_path, gas, hood, outcome):
    """No row where it is not reported and need not be."""
    found = outcomes(tmp_path, startups=[REPORT | {"gas": gas, "under_hood": hood}])
    assert found.get("under_hood") == outcome


def test_two_lines_are_needed_for_warm_or_treated_water(tmp_path):
    """Above 90 °F, or with a treatment named in the report or installed by its completion."""

    def lines(of, **given):
        report = REPORT | {"report": "R1", **of}
        found = tables(tmp_path, startups=[report], **given)["installation_findings"]
        rows = found.filter(pl.col("reading") == "water_lines")
        return rows.select("outcome", "limit_min", "value").row(0) if rows.height else None

    one = {"water_lines": "1"}
    assert lines(one) is None
    assert lines(one | {"supply_temperature_f": "90"}) is None
    assert lines(one | {"supply_temperature_f": "90.1"}) == ("unsound", 2.0, "1")
    assert lines({"water_lines": "2", "supply_temperature_f": "91"}) == ("sound", 2.0, "2")
    assert lines({"supply_temperature_f": "91"}) == ("not_reported", 2.0, None)
    assert lines(one | {"treatment_product": "PLAIN"}) == ("unsound", 2.0, "1")
    for day, needed in (("2024-01-31", True), ("2024-02-01", True), ("2024-02-02", False)):
        call = INSTALL | {"completed_on": day, "opened_on": day}
        assert (lines(one, service_calls=[call]) is not None) == needed, day
    beside = INSTALL | {"serial": "U2", "completed_on": "2024-01-15", "opened_on": "2024-01-15"}
    neighbor = [UNIT, UNIT | {"serial": "U2"}]
    assert lines(one, service_calls=[beside], units=neighbor) == ("unsound", 2.0, "1")
    cartridge = beside | {"serial": "U1", "product": "SOFT-C"}
    assert lines(one, service_calls=[cartridge]) is None


def test_without_the_keys_nothing_is_asked(tmp_path):
    """Only readings with limits, and level and hood where reported, are looked at."""
    report = REPORT | {"supply_temperature_f": "120", "water_lines": "1", "level": None}
    found = outcomes(tmp_path, text=bench.BENCH_TERMS, startups=[report])
    assert found == {"flowing_pressure_psi": "sound"}


def test_a_unit_without_terms_is_looked_at_for_level_and_hood_alone(tmp_path):
    """Its edition is null, and nothing must be reported."""
    early = UNIT | {"shipped_on": "2019-01-02", "purchased_on": "2019-01-10"}
    report = REPORT | {"flowing_pressure_psi": "99", "level": "no", "under_hood": "yes"}
    found = tables(tmp_path, units=[early], startups=[report])
    assert dict(found["installation_findings"].select("reading", "outcome").iter_rows()) == {
        "level": "unsound",
        "under_hood": "sound",
    }
    [review] = found["startup_reviews"].to_dicts()
    assert (review["edition"], review["result"], review["faults"]) == (None, "unsound", "level")


def test_a_review_is_unsound_before_it_is_incomplete(tmp_path):
    """Faults and what is missing stand in the order of the feed."""
    both = REPORT | {"level": "no", "flowing_pressure_psi": "99", "sample_taken": None}
    short = REPORT | {"report": "R2", "level": None, "sample_taken": None}
    sound = REPORT | {"report": "R3"}
    rows = tables(tmp_path, startups=[both, short, sound])["startup_reviews"].to_dicts()
    told = {row["report"]: (row["result"], row["faults"], row["missing"]) for row in rows}
    assert told == {
        "R1": ("unsound", "flowing_pressure_psi; level", "sample_taken"),
        "R2": ("incomplete", None, "level; sample_taken"),
        "R3": ("sound", None, None),
    }
    # The latest by completed_on, then the greatest report.
    assert [row["report"] for row in rows if row["latest"]] == ["R3"]


def test_reports_are_reviewed_from_the_day_of_completion(tmp_path):
    """The day before, the completion is not yet known."""
    for day, reviews in (("2024-01-31", 0), ("2024-02-01", 1)):
        assert tables(tmp_path, as_of=day, startups=[REPORT])["startup_reviews"].height == reviews
    other = REPORT | {"serial": "U9"}
    assert tables(tmp_path, startups=[other])["startup_reviews"].is_empty()


@pytest.mark.parametrize(
    ("sampled", "sample"), [("2024-01-01", None), ("2024-01-02", "L1"), ("2024-06-01", "L1")]
)
def test_the_sample_is_from_thirty_days_before_completion_on(tmp_path, sampled, sample):
    """Of the complete supply tests the earliest; of one day the first reported, then the least."""
    test = TEST | {"sampled_on": sampled, "reported_on": "2024-06-09"}
    found = tables(tmp_path, startups=[REPORT], water_tests=[test])["startup_reviews"]
    assert found["sample"].to_list() == [sample]
    more = [
        test | {"sample": "L0", "reported_on": "2024-06-10"},
        test | {"sample": "L2", "reported_on": "2024-06-09"},
        test | {"sample": "K", "hardness_mg_l_caco3": None, "reported_on": "2024-06-02"},
    ]
    found = tables(tmp_path, startups=[REPORT], water_tests=[test, *more])["startup_reviews"]
    assert found["sample"].to_list() == [sample]


def test_installation_by_day_is_the_latest_review_by_then():
    """Spans join up; before the first start-up there is none; equal neighbors are one."""
    units = pl.DataFrame(
        {"serial": ["A", "B"], "from_on": [dt.date(2024, 1, 1)] * 2,
         "until_on": [dt.date(2024, 3, 1)] * 2}
    )  # fmt: skip
    reviews = pl.DataFrame(
        {
            "serial": ["A"] * 4,
            "report": ["R1", "R2", "R3", "R4"],
            "completed_on": [dt.date(2024, 1, 10)] * 2 + [dt.date(2024, 2, 1), dt.date(2024, 3, 1)],
            "result": ["sound", "unsound", "unsound", "sound"],
        }
    )
    day = dt.date
    assert installation_spans(units, reviews).rows() == [
        ("A", day(2024, 1, 1), day(2024, 1, 10), "none"),
        ("A", day(2024, 1, 10), day(2024, 3, 1), "unsound"),
        ("B", day(2024, 1, 1), day(2024, 3, 1), "none"),
    ]
    later = units.with_columns(from_on=pl.lit(day(2024, 1, 10)))
    assert installation_spans(later, reviews).row(0) == (
        "A", day(2024, 1, 10), day(2024, 3, 1), "unsound"
    )  # fmt: skip


def test_cautions_stand_beside_gas_and_plumbing(tmp_path):
    """Licensed trades and the local code; level calls for none."""
    report = REPORT | {"gas": "natural", "gas_pressure_in_wc": "2", "level": "no"}
    found = tables(tmp_path, startups=[report])["installation_findings"]
    cautions = dict(found.select("reading", "caution").iter_rows())
    assert "licensed" in cautions["gas_pressure_in_wc"]
    assert "local code" in cautions["flowing_pressure_psi"]
    assert cautions["level"] is None


def test_an_unsound_unit_in_cover_is_a_matter_of_upcoming(tmp_path):
    """Due on the completion; a later sound report, the end of cover or retirement ends it."""
    report = REPORT | {"level": "no", "flowing_pressure_psi": "99"}
    [row] = tables(tmp_path, startups=[report])["installation_faults"].to_dicts()
    assert (row["matter"], row["due_on"]) == ("installation fault", dt.date(2024, 2, 1))
    assert row["days_left"] == -334  # to 31 December 2024
    assert row["at_stake"] == (
        "cover of failures that the installation brings about (condition 14); unsound is the "
        "flowing water pressure, standing level; such as BURST, TILTED"
    )
    assert "Have it mended by licensed people" in row["sentence"]
    mended = REPORT | {"report": "R2", "completed_on": "2024-03-01"}
    gone = [UNIT | {"retired_on": "2024-12-31"}]
    for given in (
        {"startups": [report, mended]},
        {"startups": [report], "cover": "2024-12-31"},
        {"startups": [report], "units": gone},
    ):
        assert tables(tmp_path, **given)["installation_faults"].is_empty()


def test_spans_are_split_where_the_installation_changes():
    """What else a span says stays; the days add up."""
    first, second, end = (dt.date(2024, 1, 1), dt.date(2024, 1, 20), dt.date(2024, 2, 1))
    spans = pl.DataFrame(
        {
            "serial": ["A", "A", "B"],
            "from_on": [first, second, first],
            "until_on": [second, end, end],
            "needs": ["scale", "none", "none"],
        }
    )
    reviews = pl.DataFrame(
        {"serial": ["A"], "report": ["R1"], "completed_on": [dt.date(2024, 1, 10)],
         "result": ["unsound"]}
    )  # fmt: skip
    day = dt.date
    assert with_installation(spans, reviews).rows() == [
        ("A", day(2024, 1, 1), day(2024, 1, 10), "scale", "none"),
        ("A", day(2024, 1, 10), day(2024, 1, 20), "scale", "unsound"),
        ("A", day(2024, 1, 20), day(2024, 2, 1), "none", "unsound"),
        ("B", day(2024, 1, 1), day(2024, 2, 1), "none", "none"),
    ]


def test_a_fault_that_no_cause_names_is_told_beside_the_others(tmp_path):
    """In the order of the readings; causes stand there only of readings that have any."""
    reports = [REPORT | {"water_lines": "1", "supply_temperature_f": "95", "level": "no"}]
    found = tables(tmp_path, startups=reports)["installation_faults"]
    assert found["at_stake"].to_list() == [
        "cover of failures that the installation brings about (condition 14); unsound is the "
        "standing level, number of water lines; such as TILTED"
    ]


@pytest.mark.parametrize(
    ("number", "low", "high", "outcome"),
    [
        (3.0, 2.0, None, "sound"), (2.0, 2.0, None, "sound"), (1.9, 2.0, None, "unsound"),
        (3.0, None, 3.0, "sound"), (3.1, None, 3.0, "unsound"), (3.0, None, None, "reported"),
        (3.0, 2.0, 4.0, "sound"), (None, 2.0, 4.0, "not_reported"),
    ],
)  # fmt: skip
def test_a_reading_may_have_a_limit_at_one_end_or_none(number, low, high, outcome):
    """Bounds included; what has no limit at all is reported, no more."""
    row = pl.DataFrame(
        {"value": [None if number is None else str(number)], "number": [number],
         "limit_min": [low], "limit_max": [high], "gas": [None]},
        schema={"value": pl.String, "number": pl.Float64, "limit_min": pl.Float64,
                "limit_max": pl.Float64, "gas": pl.String},
    )  # fmt: skip
    assert row.select(_outcome("drain_air_gap_in")).item() == outcome


def test_a_review_names_its_readings_in_words(tmp_path):
    """Not by their columns, which end in a unit."""
    report = REPORT | {"gas": "natural", "gas_pressure_in_wc": "2", "flowing_pressure_psi": None}
    [review] = tables(tmp_path, startups=[report])["startup_reviews"].to_dicts()
    assert (review["faults"], review["missing"]) == ("gas_pressure_in_wc", "flowing_pressure_psi")
    assert "To be mended: gas pressure; not reported: flowing water pressure." in review["sentence"]
