"""Corrections put into the rows of a file: which rows they hit, and what then holds of them."""

from __future__ import annotations

from decimal import Decimal

from pipelines.records.corrections import Correction
from pipelines.records.feed_file import parse_file
from tests.unit.records.conftest import ZONE

HEADER = "call,serial,kind,opened_on,parts_amount,travel_amount\n"
SOUND = "C1,A1,repair,2025-01-02,10.50,5\n"
OTHER = "C2,A1,repair,2025-01-02,10.50,5\n"
BROKEN = "C3,A1,repair,2025-13-02,ten,5\n"
CONTENT = {
    "call": "C1",
    "serial": "A1",
    "kind": "repair",
    "opened_on": "2025-01-02",
    "parts_amount": "10.5",
    "travel_amount": "5",
}
SPOILED = CONTENT | {"call": "C3", "opened_on": "2025-13-02", "parts_amount": "ten"}


def parsed(desk, text, *corrections):
    """The file of a text with corrections in force."""
    mapping = desk.mapping("service_calls", None)
    return parse_file(
        "service_calls", desk.reading(HEADER + text), mapping, ZONE, corrections=corrections
    )


def correction(event, content, values, unsound=()):
    """A correction of the feed."""
    return Correction(event, "service_calls", content, tuple(unsound), values)


def amounts(found):
    """Call and amount for parts of the sound rows."""
    return found.rows.select("call", "parts_amount").rows()


def test_a_row_of_that_content_has_the_other_values(desk):
    """That row alone, in its place; what is not named stays."""
    found = parsed(desk, OTHER + SOUND, correction(7, CONTENT, {"parts_amount": "12.25"}))
    assert amounts(found) == [("C2", Decimal("10.50")), ("C1", Decimal("12.25"))]
    assert found.rows["travel_amount"].to_list() == [Decimal(5), Decimal(5)]
    assert found.rows["source_line"].to_list() == [2, 3]


def test_a_row_of_another_content_is_left(desk):
    """Wherever one cell differs the correction is of another row."""
    for name in CONTENT:
        wrong = CONTENT | {name: "2025-01-03" if name == "opened_on" else "9"}
        found = parsed(desk, SOUND, correction(7, wrong, {"parts_amount": "12.25"}))
        assert amounts(found) == [("C1", Decimal("10.50"))], name


def test_the_later_of_two_counts_cell_by_cell(desk):
    """The first one's other cells stay; an empty text empties a cell."""
    found = parsed(
        desk,
        SOUND,
        correction(7, CONTENT, {"parts_amount": "12.25", "travel_amount": ""}),
        correction(9, CONTENT, {"parts_amount": "13"}),
    )
    assert amounts(found) == [("C1", Decimal(13))]
    assert found.rows["travel_amount"].to_list() == [None]


def test_a_row_set_aside_is_sound_once_every_fault_is_corrected(desk):
    """With one fault left it stays aside, for that one alone."""
    unsound = ("opened_on", "parts_amount")
    assert parsed(desk, BROKEN).set_aside.select("column", "rule").sort("column").rows() == [
        ("opened_on", "impossible_date"),
        ("parts_amount", "amount"),
    ]
    half = parsed(desk, BROKEN, correction(7, SPOILED, {"opened_on": "2025-01-02"}, unsound))
    assert half.rows.is_empty()
    assert half.set_aside["column"].to_list() == ["parts_amount"]
    values = {"opened_on": "2025-01-02", "parts_amount": "10"}
    whole = parsed(desk, BROKEN + SOUND, correction(7, SPOILED, values, unsound))
    assert amounts(whole) == [("C3", Decimal(10)), ("C1", Decimal("10.50"))]
    assert whole.set_aside.is_empty()


def test_a_correction_that_is_no_value_sets_the_row_aside(desk):
    """It is checked as any cell is."""
    found = parsed(desk, SOUND + OTHER, correction(7, CONTENT, {"parts_amount": "-1"}))
    assert amounts(found) == [("C2", Decimal("10.50"))]
    assert found.set_aside.select("line", "column").rows() == [(2, "parts_amount")]


def test_what_a_correction_of_a_content_comes_to():
    """Its values over the content, without what is emptied."""
    one = correction(7, CONTENT, {"travel_amount": "", "cause": "SCALE"})
    assert one.corrected() == {
        name: text for name, text in CONTENT.items() if name != "travel_amount"
    } | {"cause": "SCALE"}


def test_a_row_without_any_text_is_found_too(desk):
    """Its days and amounts alone tell it."""
    content = {"opened_on": "2025-01-02", "parts_amount": "10.5"}
    lacking = {"call": "C9", "serial": "A1", "kind": "repair"}
    found = parsed(desk, ",,,2025-01-02,10.50,\n" + SOUND, correction(7, content, lacking))
    assert amounts(found) == [("C9", Decimal("10.50")), ("C1", Decimal("10.50"))]
