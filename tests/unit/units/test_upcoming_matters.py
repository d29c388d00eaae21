"""What is coming up for a unit, one matter at a time, at its boundary; and its history's row."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.coverage.evidence import seen
from pipelines.units.events import unit_events
from pipelines.units.unit_histories import _with_cover, build_histories
from pipelines.units.upcoming import upcoming_matters
from schemas.columns import column_names, polars_schema
from schemas.histories import UnitHistories, Upcoming

# Parts are covered to 2025-07-20, labor to 2025-01-20; a start-up may be asked for to 2024-02-09.
UNIT = {"serial": "U1", "model": "GEN", "shipped_on": "2024-01-02", "purchased_on": "2024-01-10",
        "installed_on": "2024-01-20", "site": "S1", "region": "US-NM"}  # fmt: skip
TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-02-20",
        "reported_on": "2024-03-01", "hardness_mg_l_caco3": "150", "ph": "7.5"}  # fmt: skip
ORDER = {"order": "P1", "line": "1", "ordered_on": "2024-01-25", "product": "SOFT",
         "quantity": "1", "condition": "new", "seller": "MAKER", "site": "S1"}  # fmt: skip
INSTALL = {"call": "I1", "serial": "U1", "kind": "treatment_install", "opened_on": "2024-01-30",
           "completed_on": "2024-01-31", "product": "SOFT"}  # fmt: skip
DELIMED = INSTALL | {"call": "D1", "kind": "delime", "completed_on": "2024-04-01", "product": ""}
STARTUP = {"report": "R1", "serial": "U1", "requested_on": "2024-02-09"}


@pytest.fixture(scope="module")
def world(tools, tmp_path_factory):
    """Evidence, histories and matters of one unit, by day and records."""
    terms = tools.terms_of(tmp_path_factory.mktemp("terms"))

    def build(as_of, unit=None, **feeds):
        units = [UNIT | (unit or {}), *feeds.pop("units", [])]
        evidence = seen(tools.evidence_of(as_of, units=units, **feeds))
        histories = build_histories(evidence, terms, duty_hours_per_day=10.0, tanks_l=(60.0,))
        return histories, upcoming_matters(evidence, histories)

    return build


def due(world, matter, as_of, **given):
    """(due date, days left) of one matter of U1; None where it is not on the list."""
    _, table = world(as_of, **given)
    assert table.schema == polars_schema(Upcoming)
    found = {row["matter"]: row for row in table.iter_rows(named=True) if row["serial"] == "U1"}
    return (str(found[matter]["due_on"]), found[matter]["days_left"]) if matter in found else None


def test_a_start_up_can_be_asked_for_to_the_last_day(world):
    """It is listed to that day, and no more once it was asked for."""
    matter = "start-up request due"
    assert due(world, matter, "2024-02-08") == ("2024-02-09", 1)
    assert due(world, matter, "2024-02-09") == ("2024-02-09", 0)
    assert due(world, matter, "2024-02-10") is None
    assert due(world, matter, "2024-02-09", startups=[STARTUP]) is None


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, ("2025-01-20", 325)),
        ({"requested_on": "2024-02-10"}, None),
        ({"completed_on": "2024-02-29"}, None),
        ({"completed_on": "2024-03-02"}, ("2025-01-20", 325)),
    ],
)
def test_a_start_up_asked_for_in_time_is_outstanding_until_done(world, changes, told):
    """By the end of the first base window; a completion after the as-of date is not known yet."""
    startups = [STARTUP | changes]
    assert due(world, "start-up outstanding", "2024-03-01", startups=startups) == told


@pytest.mark.parametrize(
    ("reported", "told"),
    [
        (None, ("2024-03-02", -1)),
        ("2024-03-03", None),
        ("2024-03-04", ("2024-03-02", -1)),
    ],
)
def test_a_sample_without_a_result_is_outstanding_until_one_is_reported(world, reported, told):
    """30 days from the start-up at which it was taken; a report counts from its day."""
    startups = [STARTUP | {"completed_on": "2024-02-01", "sample_taken": "yes"}]
    tests = [TEST | {"reported_on": reported}] if reported else []
    given = {"startups": startups, "water_tests": tests}
    assert due(world, "test outstanding", "2024-03-03", **given) == told


def test_a_sample_not_taken_leaves_nothing_outstanding(world):
    """Nor does one for a unit that needs no treatment."""
    startup = STARTUP | {"completed_on": "2024-02-01", "sample_taken": "no"}
    assert due(world, "test outstanding", "2024-03-03", startups=[startup]) is None
    taken = [startup | {"sample_taken": "yes"}]
    hand = {"unit": {"model": "HAND"}, "startups": taken}
    assert due(world, "test outstanding", "2024-03-03", **hand) is None


@pytest.mark.parametrize(
    ("hardness", "model", "told"),
    [
        ("100", "GEN", None),
        ("100.1", "GEN", ("2024-03-31", 30)),
        ("100", "ALW", ("2024-03-31", 30)),
        ("150", "HAND", None),
    ],
)
def test_treatment_is_due_where_the_water_or_the_model_asks_for_it(world, hardness, model, told):
    """30 days from the first result; at its maximum an analyte asks for nothing."""
    given = {"water_tests": [TEST | {"hardness_mg_l_caco3": hardness}], "unit": {"model": model}}
    assert due(world, "treatment due", "2024-03-01", **given) == told


def test_treatment_is_due_until_one_that_fits_is_in(world):
    """The day of installation ends it; a system that does something else does not."""
    given = {"water_tests": [TEST], "treatment_purchases": [ORDER]}
    late = INSTALL | {"opened_on": "2024-03-04", "completed_on": "2024-03-05"}
    for as_of, left in (("2024-03-04", 27), ("2024-03-05", None)):
        told = due(world, "treatment due", as_of, service_calls=[late], **given)
        assert told == (None if left is None else ("2024-03-31", left))
    other = {"treatment_purchases": [ORDER | {"product": "CHL"}]}
    calls = [INSTALL | {"product": "CHL"}]
    told = due(world, "treatment due", "2024-03-05", service_calls=calls, **given | other)
    assert told == ("2024-03-31", 26)


def test_a_cartridge_is_due_with_its_grace_and_renewed_by_a_change(world):
    """Six months and 15 days from the installation, then from the change; overdue below 0."""
    given = {"water_tests": [TEST], "treatment_purchases": [ORDER]}
    change = INSTALL | {"call": "X1", "kind": "cartridge_change", "opened_on": "2024-08-01"}
    changed = [INSTALL, change | {"completed_on": "2024-08-10"}]
    matter = "cartridge due"
    assert due(world, matter, "2024-08-15", service_calls=[INSTALL], **given) == ("2024-08-15", 0)
    assert due(world, matter, "2024-08-16", service_calls=[INSTALL], **given) == ("2024-08-15", -1)
    assert due(world, matter, "2024-08-09", service_calls=changed, **given) == ("2024-08-15", 6)
    assert due(world, matter, "2024-08-10", service_calls=changed, **given) == ("2025-02-25", 199)


def test_the_grace_to_treat_begins_with_the_first_complete_test(world):
    """A result that lacks the pH begins none: a complete test is outstanding, then treatment."""
    lacking = TEST | {"sample": "L0", "ph": "", "sampled_on": "2024-01-25"}
    lacking |= {"reported_on": "2024-02-01"}
    alone = {"water_tests": [lacking]}
    assert due(world, "treatment due", "2024-03-05", **alone) is None
    assert due(world, "test outstanding", "2024-03-05", **alone) == ("2024-02-24", -10)
    both = {"water_tests": [lacking, TEST]}
    assert due(world, "treatment due", "2024-03-05", **both) == ("2024-03-31", 26)
    assert due(world, "test outstanding", "2024-03-05", **both) is None


def test_an_incomplete_result_leaves_the_sample_of_a_start_up_outstanding(world):
    """From the earlier of the two samples; not before the result is in, without a start-up."""
    lacking = TEST | {"ph": ""}
    startups = [STARTUP | {"completed_on": "2024-02-01", "sample_taken": "yes"}]
    matter = "test outstanding"
    given = {"water_tests": [lacking]}
    assert due(world, matter, "2024-03-01", startups=startups, **given) == ("2024-03-02", 1)
    assert due(world, matter, "2024-03-01", **given) == ("2024-03-21", 20)
    assert due(world, matter, "2024-02-29", **given) is None
    before = {"water_tests": [lacking | {"sampled_on": "2023-05-01", "reported_on": "2023-05-05"}]}
    assert due(world, matter, "2024-02-01", **before) == ("2024-02-19", 18)


@pytest.mark.parametrize(
    ("product", "treatment", "cartridge"),
    [
        ("CHL", ("2024-03-31", 26), None),
        ("SOFT", None, ("2025-02-15", 347)),
    ],
)
def test_a_model_that_is_always_treated_needs_what_removes_scale(
    world, product, treatment, cartridge
):
    """Within all limits: another system does not do, and the softener's cartridge runs out.

    In mild water it lasts twelve months, and 15 days of grace.
    """
    given = {
        "unit": {"model": "ALW"},
        "water_tests": [TEST | {"hardness_mg_l_caco3": "50"}],
        "treatment_purchases": [ORDER | {"product": product}],
        "service_calls": [INSTALL | {"product": product}],
    }
    assert due(world, "treatment due", "2024-03-05", **given) == treatment
    assert due(world, "cartridge due", "2024-03-05", **given) == cartridge
    _, table = world("2024-03-05", **given)
    stakes = table.filter(matter="treatment due")["at_stake"].to_list()
    assert all("; the model is always treated against scale" in stake for stake in stakes)
    assert len(stakes) == (treatment is not None)


def test_no_deliming_is_due_of_a_model_that_needs_no_treatment(world, tools):
    """No claim is held to it (condition 20), whoever is to do it."""
    models = [row | {"delime_by": "owner"} for row in tools.REFERENCE_ROWS["models"]]
    references = {"models": models}
    matter = "deliming due"
    always = due(world, matter, "2024-03-31", unit={"model": "ALW"}, references=references)
    assert always == ("2024-04-30", 30)
    hand = {"unit": {"model": "HAND"}, "references": references}
    assert due(world, matter, "2024-03-31", **hand) is None


def test_deliming_is_due_from_the_clock_start_then_from_the_last_one(world):
    """Three months and ten days of grace; not for a model that is never delimed."""
    matter = "deliming due"
    assert due(world, matter, "2024-03-31", service_calls=[DELIMED]) == ("2024-04-30", 30)
    assert due(world, matter, "2024-04-01", service_calls=[DELIMED]) == ("2024-07-11", 101)
    assert due(world, matter, "2024-04-01", unit={"model": "ALW"}) is None


@pytest.mark.parametrize(
    ("as_of", "retired", "listed"),
    [
        ("2025-07-19", "", True),
        ("2025-07-20", "", False),
        ("2024-06-29", "2024-06-30", True),
        ("2024-06-30", "2024-06-30", False),
    ],
)
def test_only_units_still_under_cover_and_in_service_are_told_of(world, as_of, retired, listed):
    """Nothing is listed from the end of the longest window, or from the last day in service."""
    told = due(world, "deliming due", as_of, unit={"retired_on": retired})
    assert (told is not None) == listed


def test_the_row_of_a_unit_tells_clock_cover_water_and_upkeep(world):
    """Every column of one unit whose records are worked out by hand, on 2024-12-31."""
    histories, _ = world(
        "2024-12-31",
        startups=[STARTUP | {"completed_on": "2024-02-20"}],
        water_tests=[TEST],
        treatment_purchases=[ORDER],
        service_calls=[INSTALL, DELIMED],
    )
    assert histories.table.columns == column_names(UnitHistories)
    row = histories.table.row(0, named=True)
    days = {name: value for name, value in row.items() if isinstance(value, dt.date)}
    assert {name: str(value) for name, value in days.items()} == {
        "clock_start": "2024-01-20",
        "startup_requested_on": "2024-02-09",
        "startup_completed_on": "2024-02-20",
        "coverage_end": "2026-07-20",
        "treatment_installed_on": "2024-01-31",
        "covered_until": "2024-07-31",
        "last_delimed_on": "2024-04-01",
        "watched_from": "2024-01-20",
        "watched_until": "2025-01-01",
    }
    assert row["clock_source"] == "installed_on"
    assert row["startup_earned"] == "met"
    assert (row["water_profile"], row["needs"]) == ("scale-forming", ["scale"])
    covered, since = dt.date(2024, 7, 31), dt.date(2024, 1, 31)
    assert row["days_covered_share"] == pytest.approx(
        (covered - since).days / (dt.date(2024, 12, 31) - since).days
    )


def test_a_unit_without_any_record_is_untested_and_untreated(world):
    """Columns that nothing is known of are null, and a single state fills the watch."""
    histories, _ = world("2024-12-31")
    row = histories.table.row(0, named=True)
    assert (row["water_profile"], row["needs"]) == ("untested", [])
    empty = ("startup_requested_on", "treatment_installed_on", "covered_until", "last_delimed_on")
    assert [row[name] for name in empty] == [None] * 4
    assert histories.states["state"].to_list() == ["untested"]


def test_a_system_that_was_bought_and_not_installed_does_nothing(world):
    """Nobody proved that it runs: no installation, no cover, and the treatment is still due."""
    given = {"water_tests": [TEST], "treatment_purchases": [ORDER]}
    histories, _ = world("2024-03-05", **given)
    assert histories.fitted.is_empty()
    assert histories.table["treatment_installed_on"].to_list() == [None]
    assert due(world, "treatment due", "2024-03-05", **given) == ("2024-03-31", 26)


def test_a_cartridge_is_due_only_of_a_system_that_the_water_calls_for(world):
    """Water that is too alkaline and soft: the softener's cartridge keeps no cover."""
    alkaline = TEST | {"hardness_mg_l_caco3": "50", "ph": "9.5"}
    given = {"treatment_purchases": [ORDER], "service_calls": [INSTALL]}
    assert due(world, "cartridge due", "2024-03-05", water_tests=[TEST], **given) is not None
    assert due(world, "cartridge due", "2024-03-05", water_tests=[alkaline], **given) is None


def test_no_cartridge_is_due_of_a_model_that_needs_no_treatment(world):
    """Its claims are not held to one, whatever stands before it."""
    given = {"treatment_purchases": [ORDER], "service_calls": [INSTALL], "water_tests": [TEST]}
    assert due(world, "cartridge due", "2024-03-05", unit={"model": "HAND"}, **given) is None


def test_a_system_without_cartridges_has_no_cover_that_ends(world):
    """A change that somebody noted of it gives none either."""
    own = {"product": "ALL"}
    change = (
        INSTALL | own | {"call": "X1", "kind": "cartridge_change", "completed_on": "2024-03-01"}
    )
    histories, _ = world(
        "2024-12-31",
        water_tests=[TEST],
        treatment_purchases=[ORDER | own],
        service_calls=[INSTALL | own, change],
    )
    assert histories.fitted["product"].to_list() == ["ALL"]
    assert histories.covers.is_empty()
    row = histories.table.row(0, named=True)
    assert (row["covered_until"], row["days_covered_share"]) == (None, None)
    assert row["treatment_installed_on"] == dt.date(2024, 1, 31)


def test_rows_of_units_stand_by_their_serials(world):
    """However the register has them."""
    more = [UNIT | {"serial": serial} for serial in ("U9", "U0", "U5")]
    histories, _ = world("2024-12-31", units=more)
    assert histories.table["serial"].to_list() == ["U0", "U1", "U5", "U9"]


def test_a_unit_lasts_to_its_first_needed_system_and_a_system_to_its_last_cover():
    """By hand, from the fitting on 1 January to 31 December 2024, which are 365 days.

    SOFT lasts to July by a change and to October by stock, ALL to September; CHL does what the
    water does not call for, and RO has no cartridge. SOFT's covers join from 1 January to 1
    October, 274 days; ALL's, begun before it was fitted, hold 244 days to 1 September.
    """
    start, end = dt.date(2024, 1, 1), dt.date(2024, 12, 31)
    units = pl.DataFrame(
        {"serial": ["U1"], "needs": [["scale"]], "treatment_installed_on": [start],
         "retired_on": [None]},
        schema_overrides={"retired_on": pl.Date},
    )  # fmt: skip
    fitted = pl.DataFrame(
        {"serial": ["U1"] * 4, "product": ["SOFT", "ALL", "CHL", "RO"], "months": [6, 6, 6, None],
         "removes": [["scale"], ["chloride", "scale"], ["chloride"], ["scale"]]},
    )  # fmt: skip
    july, september, october = (dt.date(2024, month, 1) for month in (7, 9, 10))
    covers = pl.DataFrame(
        [
            ("SOFT", start, july, None),
            ("SOFT", start, october, None),
            ("ALL", dt.date(2023, 11, 1), september, None),
            ("CHL", start, dt.date(2024, 2, 1), None),
            ("RO", start, dt.date(2024, 3, 1), None),
        ],
        schema={"product": pl.String, "since": pl.Date, "due_on": pl.Date, "next_on": pl.Date},
        orient="row",
    ).with_columns(serial=pl.lit("U1"))
    row = _with_cover(units, fitted, covers, SimpleNamespace(as_of=end)).row(0, named=True)
    assert row["covered_until"] == september
    assert row["days_covered_share"] == pytest.approx(244 / 365)
    alone = fitted.filter(pl.col("product") != "ALL")
    row = _with_cover(units, alone, covers, SimpleNamespace(as_of=end)).row(0, named=True)
    assert row["covered_until"] == october
    assert row["days_covered_share"] == pytest.approx(274 / 365)


def test_water_within_its_limits_needs_none_and_other_water_what_it_breaks(world):
    """Day by day: untested, then the first test, then the next one."""
    clean = TEST | {"hardness_mg_l_caco3": "50", "sampled_on": "2024-05-20", "sample": "L0"}
    later = TEST | {"sample": "L2", "sampled_on": "2024-08-01", "reported_on": "2024-08-05"}
    more = {"hardness_mg_l_caco3": "150", "ph": "9.5"}
    histories, _ = world("2024-12-31", water_tests=[clean, later | more])
    assert histories.waters.sort("from_on").select("sample", "needs").rows() == [
        (None, "untested"), ("L0", "none"), ("L2", "ph+scale"),
    ]  # fmt: skip


def test_the_life_of_a_unit_tells_its_own_purchases(tools):
    """Those of its serial or its site, and of no other unit's."""
    other = UNIT | {"serial": "U2", "site": "S2"}
    orders = [ORDER, ORDER | {"order": "P2", "site": "S2", "ordered_on": "2024-02-02"}]
    evidence = seen(
        tools.evidence_of("2024-12-31", units=[UNIT, other], treatment_purchases=orders)
    )
    sellers = pl.DataFrame(
        {"serial": ["U1", "U2"], "site": ["S1", "S2"], "sellers": [["MAKER"], ["MAKER"]]}
    )
    events = unit_events(evidence, pl.Series(["U1"]), sellers)
    assert set(events["serial"]) == {"U1"}
    bought = events.filter(pl.col("on").is_in([dt.date(2024, 1, 25), dt.date(2024, 2, 2)]))
    assert bought["on"].to_list() == [dt.date(2024, 1, 25)]
