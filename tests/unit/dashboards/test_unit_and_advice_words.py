"""What the page of a unit and the sheet of advice say, row by row, and the tank's week as drawn."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from dashboards.charts import tank_week, way_of_units
from dashboards.pages.advice import _bars_picture, _row
from dashboards.pages.unit import _advised, _call, _facts, _letter, _purchase, _startup, _test
from schemas.wording import ANALYTES

DAY = dt.date(2025, 3, 14)
ANALYTE = {"analyte": "ph", "value": 7.5, "below": None, "min": None, "max": None, "needs": "ph",
           "outside": False, "reported": True}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "value", "limit", "verdict", "needs"),
    [
        ({}, "7.5", "none", "", ""),
        ({"min": 6.5, "max": 9.0}, "7.5", "6.5 to 9", "within", ""),
        ({"max": 9.0}, "7.5", "at most 9", "within", ""),
        ({"min": 6.5}, "7.5", "at least 6.5", "within", ""),
        ({"max": 7.0, "outside": True}, "7.5", "at most 7", "outside", "ph"),
        ({"max": 7.0, "outside": True, "needs": None}, "7.5", "at most 7", "outside", ""),
        ({"value": None, "below": 0.05, "max": 0.1}, "below 0.05", "at most 0.1", "within", ""),
        (
            {"value": None, "below": 0.5, "max": 0.1, "reported": False},
            "below 0.5", "at most 0.1", "not known: its bound is above the limit", "",
        ),
    ],
)  # fmt: skip
def test_an_analyte_of_the_sheet_says_its_limit_and_where_it_lies(
    given: dict, value: str, limit: str, verdict: str, needs: str
) -> None:
    """Both ends, one, or none; what is needed only where the value lies outside."""
    name, unit = ANALYTES["ph"]
    assert _row(ANALYTE | given) == {
        "name": name, "unit": unit, "value": value, "limit": limit, "verdict": verdict,
        "needs": needs,
    }  # fmt: skip


def test_bars_are_shares_of_the_limit_and_long_ones_say_how_far_they_go() -> None:
    """Without any limit there is no picture; a bar ends at three times its limit."""
    assert _bars_picture([ANALYTE]) is None
    assert _bars_picture([]) is None
    told = _bars_picture([ANALYTE | {"max": 1.5, "outside": True}])
    assert "5.0 times" in str(told)
    plain = _bars_picture([ANALYTE | {"max": 2.5}])
    assert "times" not in str(plain)
    assert plain is not None


def channels(spec: object) -> list[tuple[str, dict]]:
    """Every encoded channel of a chart with what it is given."""
    if isinstance(spec, list):
        return [one for part in spec for one in channels(part)]
    if not isinstance(spec, dict):
        return []
    own = [*spec.get("encoding", {}).items()]
    return own + [one for key, part in spec.items() if key != "encoding" for one in channels(part)]


def test_the_tanks_week_is_of_seven_days_and_tells_tanks_apart() -> None:
    """168 hours with a mark a day, levels at four marks, and a dash of its own for six tanks."""
    tanks = [f"Tank of {n} L" for n in (50, 100, 150, 200, 250, 300)]
    found = channels(tank_week.draw(tanks).to_dict())
    hours = [told for name, told in found if name == "x"]
    assert [told["field"] for told in hours] == ["hour", "hour"]
    for told in hours:
        assert told["scale"]["domain"] == [0, 168]
        assert told["axis"]["values"] == [0, 24, 48, 72, 96, 120, 144]
        assert told["axis"]["labelExpr"] == "'day ' + (datum.value / 24 + 1)"
        assert told["title"] == "Day of the week of duty"
    levels = next(told for name, told in found if name == "y" and told.get("field") == "level")
    assert (levels["title"], levels["axis"]["tickCount"]) == ("In the tank, L", 4)
    dashes = next(told for name, told in found if name == "strokeDash")["scale"]
    assert dashes["domain"] == tanks
    assert dashes["range"][0] == [1, 0]  # the smallest is drawn through
    assert len({tuple(dash) for dash in dashes["range"]}) == 6
    assert all(len(dash) % 2 == 0 for dash in dashes["range"])
    colors = next(told for name, told in found if name == "color" and "field" in told)["scale"]
    assert colors["domain"] == tanks
    assert len(set(colors["range"])) == 5


def test_the_way_of_units_is_drawn_from_none_to_all() -> None:
    """Every share stands on one axis, from 0 to 1."""
    found = [told for name, told in channels(way_of_units.draw().to_dict()) if name == "x"]
    assert [told["field"] for told in found] == ["low", "value", "value", "value"]
    assert {tuple(told["scale"]["domain"]) for told in found} == {(0, 1)}


STARTUP = {
    "report": "R1", "completed_on": DAY, "requested_on": None, "agency": None, "review": None,
    "findings": [],
}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "head"),
    [
        ({}, "R1: completed on 2025-03-14, no agency"),
        ({"requested_on": dt.date(2025, 3, 1), "agency": "A1"},
         "R1: completed on 2025-03-14, asked for on 2025-03-01, A1"),
        ({"completed_on": None}, "R1: not completed, no agency"),
    ],
)  # fmt: skip
def test_a_startup_says_when_it_was_asked_for_and_done(given: dict, head: str) -> None:
    """Who did it, and what there is of it."""
    assert _startup(STARTUP | given)["head"] == head


def test_a_startup_shows_what_is_wrong_and_what_lacks() -> None:
    """Sound and reported readings are left out; a caution stands beside what is unsound alone."""
    outcomes = ("sound", "unsound", "not_reported", "reported", "to_check")
    findings = [
        {"outcome": outcome, "sentence": f"Is {outcome}.", "caution": "Mind the gas."}
        for outcome in outcomes
    ]
    found = _startup(STARTUP | {"findings": findings})
    assert found["findings"] == ["Is unsound. Mind the gas.", "Is not_reported.", "Is to_check."]
    assert (found["result"], found["says"]) == (None, "It is reviewed once it is completed.")
    review = {"result": "unsound", "sentence": "To be mended: level."}
    found = _startup(STARTUP | {"review": review})
    assert (found["result"], found["says"]) == ("unsound", "To be mended: level.")


def test_an_advice_begins_with_its_state_and_says_by_when() -> None:
    """The state in words, with a capital; a day only where there is one."""
    row = {"state": "bought", "due_on": None, "sentence": "Install it."}
    assert _advised(row) == {"head": "Bought, not installed", "says": "Install it."}
    assert _advised(row | {"due_on": DAY})["head"] == "Bought, not installed, due by 2025-03-14"


CALL = {"call": "C1", "kind": "repair", "opened_on": DAY, "completed_on": None, "agency": None,
        "cause": None, "part": None, "product": None, "notes": None}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "cells"),
    [
        ({}, ["C1", "repair", "2025-03-14", "–", "–", "–", ""]),
        (
            {"kind": "cartridge_change", "agency": "A1", "product": "SOFT", "notes": "Done."},
            ["C1", "cartridge change", "2025-03-14", "–", "A1", "SOFT", "Done."],
        ),
        (
            {"kind": None, "cause": "SCALED", "part": "P7", "completed_on": DAY},
            ["C1", "–", "2025-03-14", "2025-03-14", "–", "SCALED, P7", ""],
        ),
    ],
)
def test_a_call_is_a_row_of_what_was_done(given: dict, cells: list[str]) -> None:
    """A dash for what nobody wrote down, notes as they are."""
    assert _call(CALL | given) == cells


def test_a_test_says_what_lies_outside_and_whether_it_is_complete() -> None:
    """By the names of the analytes, where it was taken, by whom."""
    row = {"sample": "L1", "sampled_on": DAY, "point": "supply", "lab": None, "complete": True,
           "analytes": [ANALYTE]}  # fmt: skip
    head = "Sample L1 of 2025-03-14 (supply): within the limits."
    assert _test(row)["head"] == head
    hard = ANALYTE | {"analyte": "hardness_mg_l_caco3", "outside": True}
    more = {"lab": "Dale", "complete": False, "analytes": [hard, ANALYTE]}
    name = ANALYTES["hardness_mg_l_caco3"][0]
    assert _test(row | more)["head"] == (
        f"Sample L1 of 2025-03-14 (supply, Dale): {name} outside the limits; not complete."
    )


@pytest.mark.parametrize(
    ("approved", "seller", "told"),
    [(True, "MAKER", "MAKER (approved)"), (False, "SHOP", "SHOP (not approved)"),
     (None, "MAKER", "MAKER"), (None, None, "")],
)  # fmt: skip
def test_a_purchase_says_who_sold_what(
    approved: bool | None, seller: str | None, told: str
) -> None:
    """Whether the seller is an approved one stands beside the name, where it is known."""
    row = {"ordered_on": DAY, "product": None, "quantity": 2.0, "condition": "new",
           "kind": "system", "seller": seller, "approved_seller": approved}  # fmt: skip
    assert _purchase(row) == ["2025-03-14", "–", "2", "new system", told]


def test_a_letter_says_what_it_is_and_how_it_stands() -> None:
    """What it is about, when it was sent, by when it wants an answer."""
    row = {"entry": 4, "kind": "documents", "claim": None, "state": "to_send", "sent_on": None,
           "due_on": None}  # fmt: skip
    assert _letter(row)["text"] == "request for documents: to send"
    more = {"claim": "K1", "state": "sent", "sent_on": DAY, "due_on": dt.date(2025, 4, 14)}
    assert _letter(row | more)["text"] == (
        "request for documents on K1: sent, sent on 2025-03-14, answer due by 2025-04-14"
    )


@pytest.mark.parametrize(
    ("in_time", "told"), [("met", "yes"), ("unmet", "no"), ("unknown", "not known"), (None, None)]
)
def test_facts_of_a_unit_leave_out_what_is_not_known(in_time: str | None, told: str | None) -> None:
    """Labels only of what there is; whether the start-up was asked for in time is in words."""
    unit = {"model": "M1", "family": "Beck", "site": None, "region": "US-OR", "edition": "T1",
            "clock_start": DAY, "coverage_end": None, "water_profile": None}  # fmt: skip
    found = dict(_facts(unit, {"requested_in_time": in_time}))
    assert found.pop("Start-up asked for in time", None) == told
    assert found == {
        "Model": "M1 Beck", "Region": "US-OR", "Terms": "T1", "Warranty from": "2025-03-14",
    }  # fmt: skip
    assert "Start-up asked for in time" not in dict(_facts(unit, None))


def test_the_picture_of_bars_names_each_analyte_with_its_value() -> None:
    """What is read beside each bar; an analyte without a limit has none."""
    hard = ANALYTE | {"analyte": "hardness_mg_l_caco3", "value": 120.0, "max": 60.0}
    told = re.sub(r"\s+", " ", str(_bars_picture([hard, ANALYTE])))
    assert f"{ANALYTES['hardness_mg_l_caco3'][0]}, 120" in told
    assert f"{ANALYTES['ph'][0]}, 7.5" not in told
