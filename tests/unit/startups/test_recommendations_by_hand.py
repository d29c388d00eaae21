"""Recommendations: every state, and each day before, on and after its boundary.

The terms are those of the bench: grace 30 days, cartridges 6 months in normal water, 15 days late.
"""

import datetime as dt

import pytest

from tests.unit.coverage import bench
from tests.unit.startups.startup_bench import (
    INSTALL,
    ORDER,
    REPORT,
    TERMS,
    TEST,
    UNIT,
    recommendation,
    tables,
)

DAY = dt.date


def state(tmp_path, **given):
    """The state of U1."""
    return recommendation(tmp_path, **given)["state"]


def test_without_a_test_the_state_tells_what_is_waited_for(tmp_path):
    """No start-up; a start-up without sample; a sample or an incomplete test."""
    assert state(tmp_path) == "no_startup"
    assert state(tmp_path, startups=[REPORT | {"completed_on": None}]) == "no_startup"
    assert state(tmp_path, startups=[REPORT | {"sample_taken": "no"}]) == "no_sample"
    assert state(tmp_path, startups=[REPORT]) == "waiting_for_result"
    incomplete = TEST | {"ph": None}
    assert state(tmp_path, water_tests=[incomplete]) == "waiting_for_result"
    assert state(tmp_path, water_tests=[incomplete | {"point": "treated"}]) == "no_startup"
    row = recommendation(tmp_path)
    empty = ("sample", "needs", "severity", "recommended", "due_on", "days_left", "bought_on")
    assert [row[name] for name in empty] == [None] * len(empty)


def test_water_within_its_limits_needs_nothing(tmp_path):
    """But a model that is always treated needs treatment of scale."""
    soft = TEST | {"hardness_mg_l_caco3": "100"}
    row = recommendation(tmp_path, water_tests=[soft])
    assert (row["state"], row["needs"], row["recommended"]) == ("none_needed", "none", None)
    always = recommendation(tmp_path, water_tests=[soft], units=[UNIT | {"model": "ALW"}])
    assert (always["state"], always["needs"], always["recommended"]) == ("overdue", "scale", "SOFT")
    within = "is within its limits, but model ALW is always treated against scale: SOFT was due by "
    assert within in always["sentence"]


# Reported on 9 February, so due on 10 March 2024 (29 days of February).
@pytest.mark.parametrize(
    ("as_of", "expected", "days"),
    [("2024-03-09", "open", 1), ("2024-03-10", "open", 0), ("2024-03-11", "overdue", -1)],
)
def test_a_treatment_is_open_up_to_the_day_it_is_due(tmp_path, as_of, expected, days):
    """Grace runs from the first complete test's report."""
    row = recommendation(tmp_path, as_of=as_of, water_tests=[TEST])
    assert (row["state"], row["due_on"], row["days_left"]) == (expected, DAY(2024, 3, 10), days)
    assert row["recommended"] == "SOFT"
    assert row["alternatives"] == ["RO", "ALL"]


def test_the_clock_start_comes_before_an_earlier_report(tmp_path):
    """r is no earlier than the clock; the earliest report counts, not that of the latest test."""
    early = TEST | {"sampled_on": "2024-01-05", "reported_on": "2024-01-10"}
    row = recommendation(tmp_path, water_tests=[early])
    assert row["due_on"] == DAY(2024, 2, 19)  # the clock started on 20 January
    later = TEST | {"sample": "L2", "sampled_on": "2024-06-01", "reported_on": "2024-06-03"}
    row = recommendation(tmp_path, water_tests=[TEST, later])
    assert (row["sample"], row["due_on"]) == ("L2", DAY(2024, 3, 10))


def test_what_was_bought_tells_the_state(tmp_path):
    """Bought, unsuitable, or as if nothing were: used, or of another seller."""
    tests = [TEST]
    assert state(tmp_path, water_tests=tests, treatment_purchases=[ORDER]) == "bought"
    other = ORDER | {"product": "CHL"}
    assert state(tmp_path, water_tests=tests, treatment_purchases=[other]) == "unsuitable"
    for fault in ({"condition": "used"}, {"seller": "SHOP"}):
        assert state(tmp_path, water_tests=tests, treatment_purchases=[ORDER | fault]) == "overdue"
    salty = [TEST | {"chloride_mg_l": "60"}]
    more = other | {"order": "P2", "ordered_on": "2024-03-05"}
    row = recommendation(tmp_path, water_tests=salty, treatment_purchases=[ORDER, more])
    assert (row["state"], row["bought_on"]) == ("bought", DAY(2024, 3, 5))
    assert row["needs"] == "chloride+scale"


def test_nothing_serves_chloramine_but_carbon(tmp_path):
    """A membrane that claims it does not; the need is unmet where only it does."""
    books = {
        "treatments": [
            {"product": "SOFT", "kind": "system", "removes": "scale"},
            {"product": "RO", "kind": "system", "removes": "scale chloride chloramine ph",
             "rated_output_l_per_h": "10", "rated_temperature_c": "25"},
        ]
    }  # fmt: skip
    chlorinated = TEST | {"total_chlorine_mg_l": "1", "free_chlorine_mg_l": "0.2"}
    row = recommendation(tmp_path, references=books, water_tests=[chlorinated])
    assert (row["state"], row["unmet"], row["recommended"]) == (
        "nothing_serves", ["chloramine"], "SOFT"
    )  # fmt: skip


def test_the_tank_behind_a_membrane_is_the_smallest_that_serves(tmp_path):
    """At 8 °C a membrane rated 10 L/h at 25 °C makes 5.4 L/h: 130 L a day for the 80 L of 8 L/h and
    10 hours, and the tank bridges 10 x (8 - 5.4) = 26 L."""
    books = {
        "treatments": [
            {"product": "RO", "kind": "system", "removes": "scale chloride ph chloramine",
             "rated_output_l_per_h": "10", "rated_temperature_c": "25"},
        ],
        "models": [row | {"feed_l_per_h": "8"} for row in bench.REFERENCE_ROWS["models"]],
    }  # fmt: skip
    row = recommendation(tmp_path, references=books, water_tests=[TEST])
    assert (row["recommended"], row["tank_l"]) == ("RO", 60.0)
    thirsty = books | {"models": [row | {"feed_l_per_h": "12"} for row in books["models"]]}
    assert recommendation(tmp_path, references=thirsty, water_tests=[TEST])["tank_l"] == 190.0


@pytest.mark.parametrize(("feed", "tank"), [("13", 190.0), ("13.1", None)])
def test_a_membrane_that_makes_less_than_is_drawn_is_bought_by_nobody_unasked(tmp_path, feed, tank):
    """10 L/h at 25 °C are 130.1 L a day at 8 °C: enough for 13 L/h over 10 hours, not for more."""
    books = {
        "treatments": [
            {"product": "RO", "kind": "system", "removes": "scale chloride",
             "rated_output_l_per_h": "10", "rated_temperature_c": "25"},
        ],
        "models": [row | {"feed_l_per_h": feed} for row in bench.REFERENCE_ROWS["models"]],
    }  # fmt: skip
    warning = "No tank on sale is known to keep its membrane serving"
    for as_of, orders in (
        ("2024-03-01", []),
        ("2024-12-31", []),
        ("2024-03-01", [ORDER | {"product": "RO"}]),
    ):
        given = {"references": books, "water_tests": [TEST], "treatment_purchases": orders}
        row = recommendation(tmp_path, as_of=as_of, **given)
        assert row["tank_l"] == tank
        assert (warning in row["sentence"]) == (tank is None and not orders)
    softener = recommendation(tmp_path, water_tests=[TEST])
    assert softener["tank_l"] is None
    assert warning not in softener["sentence"]


# Installed on 26 February: the cartridge is due on 26 August, with grace on 10 September 2024.
@pytest.mark.parametrize(
    ("as_of", "expected"),
    [("2024-02-25", "bought"), ("2024-02-26", "kept_up"), ("2024-09-10", "kept_up"),
     ("2024-09-11", "lapsed")],
)  # fmt: skip
def test_a_system_is_kept_up_until_its_cartridge_is_overdue(tmp_path, as_of, expected):
    """The last day is told as kept_until for as long as it is."""
    row = recommendation(
        tmp_path,
        as_of=as_of,
        water_tests=[TEST],
        treatment_purchases=[ORDER],
        service_calls=[INSTALL],
    )
    assert row["state"] == expected
    assert row["kept_until"] == (DAY(2024, 9, 10) if expected == "kept_up" else None)
    assert row["installed_on"] == (None if expected == "bought" else DAY(2024, 2, 26))


def test_cartridges_on_file_carry_on(tmp_path):
    """A change or stock moves kept_until on; a system without cartridges is kept for ever."""
    given = {
        "as_of": "2024-03-01",
        "water_tests": [TEST],
        "service_calls": [INSTALL],
    }
    stock = ORDER | {"order": "P9", "product": "SOFT-C", "quantity": "2"}
    row = recommendation(tmp_path, **given, treatment_purchases=[ORDER, stock])
    assert row["kept_until"] == DAY(2025, 9, 10)  # 6 months, 12 more, 15 days of grace
    both = ORDER | {"order": "P3", "product": "ALL"}
    fitted = INSTALL | {"call": "I2", "product": "ALL"}
    given["service_calls"] = [INSTALL, fitted]
    row = recommendation(tmp_path, **given, treatment_purchases=[ORDER, both])
    assert (row["state"], row["kept_until"]) == ("kept_up", None)


# By changes from 16 June to 16 December, with grace to 31 December. By stock a lapse ended on
# 15 September; two months back it is forgiven from 15 November, and that stock lasts to 30 March.
@pytest.mark.parametrize(
    ("look_back", "until"), [(None, DAY(2024, 12, 31)), ("2", DAY(2025, 3, 30))]
)
def test_a_lapse_that_is_forgiven_lets_kept_go_on(tmp_path, look_back, until):
    """Either way of upkeep may carry on where the other ends."""
    text = TERMS.replace("[maintenance]", f"[maintenance]\nlook_back_months = {look_back}")
    change = INSTALL | {"call": "X", "kind": "cartridge_change", "opened_on": "2024-06-16",
                        "completed_on": "2024-06-16"}  # fmt: skip
    late = ORDER | {"order": "P9", "product": "SOFT-C", "ordered_on": "2024-09-15"}
    row = recommendation(
        tmp_path,
        text=text if look_back else TERMS,
        as_of="2024-12-01",
        water_tests=[TEST],
        treatment_purchases=[ORDER, late],
        service_calls=[INSTALL, change],
    )
    assert (row["state"], row["kept_until"]) == ("kept_up", until)


@pytest.mark.parametrize(("end", "rows"), [("2024-12-31", 0), ("2025-01-01", 1)])
def test_units_out_of_cover_have_no_recommendation(tmp_path, end, rows):
    """Cover ends on coverage_end, which is the first day without."""
    found = tables(tmp_path, cover=end, water_tests=[TEST])
    assert found["treatment_recommendations"].height == rows
    assert found["journeys"].height == 1


def test_units_that_left_or_need_none_have_no_recommendation(tmp_path):
    """Retired by the day, replaced by the day, or of a model that needs no treatment."""
    gone = UNIT | {"retired_on": "2024-12-31"}
    assert tables(tmp_path, units=[gone])["treatment_recommendations"].is_empty()
    soon = UNIT | {"retired_on": "2025-01-01"}
    assert tables(tmp_path, units=[soon])["treatment_recommendations"].height == 1
    plain = UNIT | {"model": "HAND"}
    assert tables(tmp_path, units=[plain])["treatment_recommendations"].is_empty()
    new = {"serial": "U2", "model": "HAND", "shipped_on": "2024-12-01", "replaces": "U1"}
    units = [UNIT, new | {"installed_on": "2024-12-31"}]
    for as_of, rows in (("2024-12-30", 1), ("2024-12-31", 0)):
        found = tables(tmp_path, units=units, as_of=as_of)["treatment_recommendations"]
        assert found.height == rows, as_of


@pytest.mark.parametrize(
    ("unit", "rows"),
    [
        ({"retired_on": "2024-12-30"}, 0),
        ({"retired_on": "2024-12-31"}, 0),
        ({"retired_on": "2025-01-01"}, 1),
        ({}, 1),
    ],
)
def test_a_unit_that_is_retired_by_the_day_has_no_recommendation(tmp_path, unit, rows):
    """Its last day in service included: nothing can be fitted to it any more."""
    given = {"units": [UNIT | unit], "water_tests": [TEST]}
    assert tables(tmp_path, **given)["treatment_recommendations"].height == rows
